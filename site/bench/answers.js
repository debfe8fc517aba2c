// From what is typed to the answer: asked with the next frame, and put on the page as it comes, first without ranges,
// then with those of a few ashes, then whole. No arithmetic on figures, no rounding, no unit names: those are the engine's.
//
// Rules: what is shown is always marked with how it stands to what is typed. An answer to an older question is dropped.
// Only the parts in sight are asked for with a key; the rest follow the whole answer, so that paper and other places
// have them.

import { localMoment } from "../common/clock.js";
import { all, byId, first, inNextFrame, putMarkup, showProgress } from "../common/dom.js";
import { announce } from "../common/notices.js";
import { current, sheetAt } from "../common/places.js";
import { say, sayOf, show } from "../common/words.js";
import { ask } from "../engine/client.js";
import { keepLast, lastTo } from "../store/last_answer.js";
import { isExample, state, tellFollowers, theBatch } from "../store/state.js";
import * as ashes from "./ash_choice.js";
import * as form from "./form.js";
import * as notes from "./form_notes.js";
import * as labels from "./label_choice.js";

/** @typedef {import("../types").Reply} Reply */
/** @typedef {import("../types").Request} Request */
/** @typedef {import("../types").Progress} Progress */
/** @typedef {import("../common/words.js").Words} Words */

const PARTS = all("#answer [data-part]").concat(all("#bar [data-part]")).map(({ dataset }) => dataset.part ?? "");
const ALWAYS = ["bench", "reading", "bar"]; // small, and in sight with the next tap
/** @type {Record<string, Words>} */
const REASONS = { // why an answer was not had, by the name of the error
  TimedOut: () => say("This took too long and was stopped. Change something, or try again."),
  Died: () => say("The calculator stopped twice over this and was started again. Change something, or try again."),
};
/** @type {Words} */
const EXAMPLE = () => say("An example. Tap it to make it yours.");
/** @type {Words} */
const LAST = () => say("From last time; it is being confirmed…");
const answer = byId("answer");
const UNNOTICED = 150; // milliseconds
let frame = 0;
let question = 0; // counts changes, so that an answer to an older one is known
/** @type {Record<string, { text: string, reply: Reply, parts: string[] } | undefined>} */
let answered = {}; // by place: the request whose whole answer is shown there, and in which parts
/** @type {Map<string, string>} */
const shown = new Map(); // part -> the markup that stands there

// ---- What is on the page ----------------------------------------------------------------------------------

/**
 * Put a part of the engine's answer in its place, leaving ticks, opened details and the focus as they are.
 * @param {string} name
 * @param {string} markup
 */
function put(name, markup) {
  const place = first(`[data-part="${name}"]`);
  const refocus = placeOfFocus(place);
  if (shown.get(name) !== markup) {
    putMarkup(place, markup);
    shown.set(name, markup);
  }
  if (name === "sheet") {
    showTicks();
    tellFollowers("answer"); // before the focus comes back: the step that has it must be shown
  }
  if (name === "label") showBatchName();
  refocus();
}

/**
 * Return what gives the focus back to an element within a place whose markup is replaced: to the one with the same id
 * or step, else to the one of its kind that stands where it stood.
 * @param {HTMLElement} place
 */
function placeOfFocus(place) {
  const { activeElement: focused } = document;
  if (!(focused instanceof HTMLElement) || !place.contains(focused)) return () => {};
  const { id, tagName, dataset: { step } } = focused;
  const at = all(tagName, place).indexOf(focused);
  return () => {
    if (focused.isConnected && document.activeElement === focused) return;
    const named = step ? `[data-step="${step}"]` : id && `#${CSS.escape(id)}`;
    const again = /** @type {HTMLElement | null} */ (named ? place.querySelector(named) : all(tagName, place)[at]);
    again?.focus({ preventScroll: true });
  };
}

/** The boxes to tick, one for each step. */
export const ticks = () => /** @type {HTMLInputElement[]} */ (all("[data-step]", answer));

/** Tick the steps that are done. */
export function showTicks() {
  for (const box of ticks()) box.checked = state.batch?.done.includes(box.dataset.step ?? "") ?? false;
}

/** Return the names of the steps that are ticked off. */
export const ticked = () => ticks().filter(({ checked }) => checked).map(({ dataset }) => dataset.step ?? "");

/** Show the name the grower gave the batch on its label; without one the line to write on stays. */
export function showBatchName() {
  const line = document.createElement("span");
  line.className = "to-write";
  first("[data-batch-name]").replaceChildren(state.batch?.name || line);
}

/** @param {Reply} reply */
function showRefusal({ errors: { length: count } }) {
  answer.setAttribute("aria-busy", "false");
  tellProgress(null);
  mark("stale", () => say("These figures are not for what is typed now. Correct the marked fields first."));
  announce(() => sayOf(count, "Correct one field first.", "Correct {count} fields first."));
}

/** Put what came of the answer; what only all ranges tell stays as it was till they come. @param {Reply} reply */
function putParts({ html = {} }) {
  for (const [name, markup] of Object.entries(html)) put(name, markup);
}

/** @param {Reply} reply @param {"quick" | "early" | "fresh"} [stage] without ranges, with those of a few ashes, or whole */
function showReply(reply, stage = "fresh") {
  notes.tell(reply);
  if (!reply.ok) {
    showRefusal(reply);
    return;
  }
  const isLast = byId("freshness").dataset.freshness === "last"; // what stands there has ranges, and is confirmed soon
  if (stage === "fresh" || !isLast) putParts(reply);
  if (reply.more) return; // the other parts are still of an older question
  answer.setAttribute("aria-busy", String(stage !== "fresh"));
  if (sheet() === "dry") {
    mark("fresh", () => say("For what is typed now."));
    announce(() => say("Sheet for dry ash worked out."));
  } else if (stage === "fresh") {
    tellProgress(null);
    labels.refresh();
    mark("fresh", isExample() ? EXAMPLE : () => say("For what is typed now."));
    announce(() => say("Sheet worked out: {answer}", { answer: first('[data-part="bar"]').textContent?.replaceAll(/\s+/g, " ").trim() }));
  } else if (isLast) {
    mark("last", LAST);
  } else if (stage === "early") {
    mark("early", () => say("First ranges, from twelve ashes; the final ones are being worked out…"));
  } else {
    mark("quick", () => say("Typical figures for now. The likely ranges come next."));
  }
}

/**
 * Say how the sheet that is shown stands to what is typed. Figures that are out of date are underlined and framed: at
 * once where nothing comes in their place, else only if that takes longer than an eye notices, or they would flicker
 * with every key.
 * @param {string} freshness
 * @param {Words} words
 * @param {boolean} [isSoonOver]
 */
export function mark(freshness, words, isSoonOver = false) {
  const line = byId(sheet() === "dry" ? "dry-freshness" : "freshness");
  const mayStay = () => { line.toggleAttribute("data-out-of-date", line.dataset.freshness === "stale"); };
  line.dataset.freshness = freshness;
  show(line, words);
  if (isSoonOver) setTimeout(mayStay, UNNOTICED);
  else mayStay();
}

/** @param {Progress | null} far */
const tellProgress = (far) => showProgress(byId("ranges-bar", HTMLProgressElement), far);

// ---- From what is typed to the answer ---------------------------------------------------------------------

/** Which of the two sheets that follow the form is shown, or was last. */
const sheet = () => (current() === "dry" ? "dry" : "batch");

/** What the form asks of the sheet that is shown. */
function asking() {
  const { request } = theBatch();
  if (sheet() === "batch") return form.askedAt("batch", request);
  return { ...form.askedAt("dry", request), ask: "spread", now: localMoment() };
}

/** Return the parts of the batch's sheet that can be seen, or will be with the next tap. */
const partsInSight = () => PARTS.filter((name) => ALWAYS.includes(name) || first(`[data-part="${name}"]`).checkVisibility());

/** Work the sheet out anew, with the next frame: of several changes before it only the last is asked about. */
export function recalculate() {
  const asked = ++question;
  tellFollowers("request");
  tellProgress(null);
  answer.setAttribute("aria-busy", "true");
  if (sheet() === "dry" || byId("freshness").dataset.freshness !== "example") mark("stale", () => say("Being worked out again…"), true);
  cancelAnimationFrame(frame);
  frame = inNextFrame(() => { if (asked === question) (sheet() === "dry" ? askDry : askBatch)(asked); });
}

/** @param {number} asked */
async function askDry(asked) {
  const request = asking();
  const reply = await askFor(asked, { ...request, ranges: "off" });
  if (!reply) return;
  showReply(reply);
  answered.dry = { text: textOf(request), reply, parts: [] };
}

/** @param {number} asked */
async function askBatch(asked) {
  const request = asking();
  const parts = partsInSight();
  tellProgress({ done: 0, total: 1 });
  let isFirst = true;
  const whole = await askFor(asked, { ...request, html: parts }, (early) => {
    showReply(early, isFirst ? "quick" : "early");
    isFirst = false;
  });
  if (!whole) return;
  showReply(whole);
  answered.batch = { text: textOf(request), reply: whole, parts };
  if (whole.ok) askForRest(asked, request, PARTS.filter((name) => !parts.includes(name)));
}

/**
 * Ask for further parts of the answer that is shown; the engine still has it.
 * @param {number} asked
 * @param {Request} request
 * @param {string[]} parts
 */
async function askForRest(asked, request, parts) {
  if (!parts.length) return;
  const rest = await askFor(asked, { ...request, html: parts });
  if (!rest?.ok || answered.batch?.text !== textOf(request)) return;
  putParts(rest);
  answered.batch.parts.push(...parts);
}

/**
 * A request without the clock that the sheet for dry ash is given, which would make each one another.
 * @param {Request} request
 */
const textOf = (request) => JSON.stringify(request.ask ? { ...request, now: "" } : request);

/**
 * Another place is shown: its sheet is worked out where it is not for what stands in the form.
 * @param {string} place
 */
export function placeChanged(place) {
  if (place === "book") return;
  ashes.show();
  const known = answered[sheetAt(place)];
  const request = asking();
  if (known?.text !== textOf(request)) {
    recalculate();
    return;
  }
  question += 1;
  notes.tell(known.reply);
  if (known === answered.batch && known.reply.ok) askForRest(question, request, PARTS.filter((name) => !known.parts.includes(name)));
}

/** What the answer depends on: what is asked, and the language. @param {Request} request */
const questionOf = (request) => `${document.documentElement.lang} ${textOf(request)}`;

/** Show the answer of the last visit, where it is one to what is asked now; it is being worked out anew. */
export function showLast() {
  if (sheet() !== "batch" || isExample()) return;
  const html = lastTo(questionOf(asking()));
  if (!html) return;
  for (const [name, markup] of Object.entries(html)) put(name, markup);
  mark("last", LAST);
}

/** The page may be closed: what stands there is kept for the next visit. */
export function keepAnswer() {
  const { text, reply } = answered.batch ?? {};
  if (!state.batch || isExample() || !reply?.ok || sheet() !== "batch" || text !== textOf(asking())) return;
  keepLast(questionOf(asking()), Object.fromEntries(shown));
}

/** Every answer is asked for anew: in another language. */
export function forgetAnswers() {
  answered = {};
  if (state.batch) recalculate();
}

/**
 * The reply, or null where something newer was asked or none can be had.
 * @param {number} asked
 * @param {Request} request
 * @param {((reply: Reply) => void) | null} [onEarly]
 */
async function askFor(asked, request, onEarly = null) {
  try {
    const reply = await ask(request, {
      onProgress: (far) => { if (asked === question) tellProgress(far); },
      onEarly: onEarly && ((early) => (asked === question ? onEarly(early) : putParts(early))),
    });
    return asked === question ? reply : null;
  } catch (error) {
    const { name } = /** @type {Error} */ (error);
    if (asked !== question || name === "Superseded") return null;
    answer.setAttribute("aria-busy", "false");
    tellProgress(null);
    mark("stale", REASONS[name]
      ?? (() => say("Not worked out: the calculator cannot run in this browser. What you typed is kept.")));
    return null;
  }
}
