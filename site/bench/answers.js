// From what is typed to the answer: asked after a pause, first without ranges, then whole, and put on the page.
// No arithmetic on figures, no rounding, no unit names: those are the engine's.
//
// Rules: what is shown is always marked with how it stands to what is typed. An answer to an older question is dropped.

import { localMoment } from "../common/clock.js";
import { all, byId, first, putMarkup, showProgress } from "../common/dom.js";
import { announce } from "../common/notices.js";
import { current, sheetAt } from "../common/places.js";
import { say, sayOf, show } from "../common/words.js";
import { ask } from "../engine/client.js";
import { isExample, state, tellFollowers, theBatch } from "../store/state.js";
import * as ashes from "./ash_choice.js";
import * as form from "./form.js";
import * as notes from "./form_notes.js";
import * as labels from "./label_choice.js";

/** @typedef {import("../types").Reply} Reply */
/** @typedef {import("../types").Request} Request */
/** @typedef {import("../types").Progress} Progress */
/** @typedef {import("../common/words.js").Words} Words */

const TYPING_PAUSE = 120; // milliseconds from the last key to the quick answer, which has no ranges
const RANGES_PAUSE = 150; // and from that to the whole one, which is dropped at the next key
const WITH_RANGES = ["reactions", "label"]; // curves, and how dangerous it can be: till then the last ones stay
/** @type {Record<string, Words>} */
const REASONS = { // why an answer was not had, by the name of the error
  TimedOut: () => say("This took too long and was stopped. Change something, or try again."),
  Died: () => say("The calculator stopped twice over this and was started again. Change something, or try again."),
};
/** @type {Words} */
const EXAMPLE = () => say("An example. Tap it to make it yours.");
const answer = byId("answer");
let quickTimer = 0;
let rangesTimer = 0;
let question = 0; // counts changes, so that an answer to an older one is known
/** @type {Record<string, { text: string, reply: Reply } | undefined>} */
let answered = {}; // by place: the request whose whole answer is shown there

// ---- What is on the page ----------------------------------------------------------------------------------

/**
 * Put a part of the engine's answer in its place, leaving ticks, opened details and the focus as they are.
 * @param {string} name
 * @param {string} markup
 */
function put(name, markup) {
  const place = first(`[data-part="${name}"]`);
  const { activeElement } = document;
  const focused = activeElement instanceof HTMLElement && place.contains(activeElement) ? nameOf(activeElement) : "";
  putMarkup(place, markup);
  place.lang = document.documentElement.lang;
  place.dir = document.documentElement.dir;
  if (name === "sheet") {
    showTicks();
    tellFollowers("answer"); // before the focus comes back: the step that has it must be shown
  }
  if (name === "label") showBatchName();
  if (focused) /** @type {HTMLElement | null} */ (place.querySelector(focused))?.focus({ preventScroll: true });
}

/** What finds an element again in markup that replaces it: a step or its tick. @param {HTMLElement} element */
function nameOf({ id, dataset: { step } }) {
  if (step) return `[data-step="${step}"]`;
  return id ? `#${CSS.escape(id)}` : "";
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

/** @param {Reply} reply @param {boolean} whole */
function showReply(reply, whole) {
  notes.tell(reply);
  if (!reply.ok) {
    showRefusal(reply);
    return;
  }
  for (const [name, markup] of Object.entries(reply.html)) if (whole || !WITH_RANGES.includes(name)) put(name, markup);
  answer.setAttribute("aria-busy", String(!whole));
  if (sheet() === "dry") {
    mark("fresh", () => say("For what is typed now."));
    announce(() => say("Sheet for dry ash worked out."));
  } else if (whole) {
    tellProgress(null);
    labels.refresh();
    mark("fresh", isExample() ? EXAMPLE : () => say("For what is typed now."));
    announce(() => say("Sheet worked out: {answer}", { answer: first('[data-part="bar"]').textContent?.replaceAll(/\s+/g, " ").trim() }));
  } else {
    mark("quick", () => say("Typical figures; the likely ranges are being worked out…"));
  }
}

/**
 * Say how the sheet that is shown stands to what is typed.
 * @param {string} freshness
 * @param {Words} words
 */
export function mark(freshness, words) {
  const line = byId(sheet() === "dry" ? "dry-freshness" : "freshness");
  line.dataset.freshness = freshness;
  show(line, words);
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

function stopTimers() {
  clearTimeout(quickTimer);
  clearTimeout(rangesTimer);
}

/**
 * Work the sheet out anew, after a pause in milliseconds.
 * @param {number} [pause]
 */
export function recalculate(pause = TYPING_PAUSE) {
  const asked = ++question;
  tellFollowers("request");
  stopTimers();
  tellProgress(null);
  answer.setAttribute("aria-busy", "true");
  if (sheet() === "dry" || byId("freshness").dataset.freshness !== "example") mark("stale", () => say("Being worked out again…"));
  quickTimer = setTimeout(async () => {
    const request = asking();
    const quick = await askFor(asked, { ...request, ranges: "off" });
    if (!quick) return;
    showReply(quick, false);
    if (!quick.ok || sheet() === "dry") {
      answered[sheet()] = { text: textOf(request), reply: quick };
      return;
    }
    tellProgress({ done: 0, total: 1 });
    rangesTimer = setTimeout(() => askForRanges(asked, request), pause ? RANGES_PAUSE : 0);
  }, pause);
}

/** @param {number} asked @param {Request} request */
async function askForRanges(asked, request) {
  const whole = await askFor(asked, { ...request, ranges: "on" });
  if (!whole) return;
  showReply(whole, true);
  answered.batch = { text: textOf(request), reply: whole };
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
  if (known?.text !== textOf(asking())) {
    recalculate(0);
    return;
  }
  stopTimers();
  question += 1;
  notes.tell(known.reply);
}

/** Every answer is asked for anew: in another language. */
export function forgetAnswers() {
  answered = {};
  if (state.batch) recalculate(0);
}

/**
 * The reply, or null where something newer was asked or none can be had.
 * @param {number} asked
 * @param {Request} request
 */
async function askFor(asked, request) {
  try {
    const reply = await ask(request, { onProgress: (far) => { if (asked === question) tellProgress(far); } });
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
