// My ash: what batches taught of an ash, kept under a name as a record of the season book, and taken for the next
// batch. What it says is worked out by the engine; nothing is concluded here.
//
// Rule: a batch goes by a kept ash where its `ash.earlier` is how that ash's evidence begins: what the batch itself
// taught is added behind.

import { today } from "../common/clock.js";
import { all, byId, button, made, putMarkup, showProgress } from "../common/dom.js";
import { toast } from "../common/notices.js";
import { onLanguage, say, sayIn, show as showWords } from "../common/words.js";
import { ask } from "../engine/client.js";
import { wordsOf, write as writeRecord } from "../store/changes.js";
import * as records from "../store/records.js";
import { isThere, textIn } from "../store/shapes.js";

/** @typedef {import("../types").BookRecord} BookRecord */
/** @typedef {import("../types").Request} Request */
/** @typedef {import("../common/words.js").Words} Words */

/** @type {Map<string, string>} */
const told = new Map(); // evidence -> markup of what it says
const page = {
  /** @type {() => Request} the request on the page */
  request: () => ({}),
  /** @type {(ash: { kind?: string, state?: string, earlier: object[] | null }) => void} take these parts for its ash */
  use() {},
};
let asking = 0;

/** @returns {BookRecord[]} the newest first */
const kept = () => records.all("ash").filter(isThere)
  .sort((one, other) => textIn(other, "date").localeCompare(textIn(one, "date")));

/**
 * @param {BookRecord} record
 * @returns {any[] | null}
 */
function evidenceOf(record) {
  try {
    const evidence = JSON.parse(textIn(record, "evidence"));
    return Array.isArray(evidence) && evidence.length ? evidence : null;
  } catch {
    return null;
  }
}

/** The kind and state of ash that the last of the evidence is about. @param {any[]} evidence */
function ashOf(evidence) {
  const { kind, state } = evidence.at(-1)?.ash ?? {};
  return { ...(kind && { kind }), ...(state && { state }) };
}

const earlierOf = () => page.request().ash?.earlier ?? [];

/** The kept ash that the request goes by, or undefined. */
function inUse() {
  if (!earlierOf().length) return undefined;
  const begins = JSON.stringify(earlierOf()).slice(0, -1);
  return kept().find((record) => textIn(record, "evidence").startsWith(begins));
}

/** List the kept ashes anew, and tell which one is in use. */
export function show() {
  const listed = kept();
  const used = inUse();
  const isUnknown = !used && Boolean(earlierOf().length);
  const name = textIn(used, "name");
  showWords(byId("my-ash-used"), () => (used ? `: ${name}` : isUnknown ? `: ${say("an ash that is not saved here")}` : ""));
  byId("my-ash-empty").hidden = Boolean(listed.length);
  byId("my-ash-list").replaceChildren(...listed.map((record) => lineOf(record, record === used)));
  if (isUnknown) byId("my-ash-list").prepend(lineOfUnknown());
  const field = byId("ash-name", HTMLInputElement);
  if (document.activeElement !== field && used) field.value = name;
  if (byId("my-ash", HTMLDetailsElement).open) tellAll(listed);
}

/** @param {HTMLElement[]} parts */
function buttonsOf(...parts) {
  const buttons = made("div", "", { class: "buttons" });
  buttons.append(...parts);
  return buttons;
}

/** @param {string} name */
const letGo = (name) => button(say("Stop using it"), () => page.use({ earlier: null }), name);

/** @param {BookRecord} record @param {boolean} used */
function lineOf(record, used) {
  const item = made("li", "", { "data-record": record.id });
  const name = textIn(record, "name");
  const evidence = evidenceOf(record);
  item.append(made("p", `${name}, ${textIn(record, "date")}`));
  if (used) item.append(made("p", say("This batch uses it."), { class: "in-use" }));
  const says = made("div", "", { class: "hint", "data-evidence": record.id });
  const known = told.get(textIn(record, "evidence"));
  if (!evidence) says.textContent = say("What was saved about it can't be read.");
  else if (known !== undefined) putMarkup(says, known);
  const buttons = buttonsOf();
  if (used) buttons.append(letGo(name));
  else if (evidence) buttons.append(button(say("Use it for this batch"), () => page.use({ ...ashOf(evidence), earlier: evidence }), name));
  buttons.append(button(sayIn("button", "Forget"), () => forget(record), name));
  item.append(says, buttons);
  return item;
}

function lineOfUnknown() {
  const item = made("li");
  item.append(made("p", say("This batch uses an ash that is not saved in this browser.")), buttonsOf(letGo(sayIn("ash that was kept", "this ash"))));
  return item;
}

/**
 * Ask what each kept ash says, one after the other, as long as the list stays open.
 * @param {BookRecord[]} listed
 */
async function tellAll(listed) {
  const mine = ++asking;
  for (const record of listed) {
    const evidence = evidenceOf(record);
    if (!evidence || told.has(textIn(record, "evidence"))) continue;
    if (!await tellOne(record, evidence, () => mine === asking)) return;
  }
}

/**
 * @param {BookRecord} record
 * @param {any[]} evidence
 * @param {() => boolean} isNewest
 * @returns {Promise<boolean>} whether to go on with the next
 */
async function tellOne(record, evidence, isNewest) {
  const { locale, customs } = page.request();
  const bar = /** @type {HTMLProgressElement} */ (made("progress", "", { class: "how-far", "aria-label": say("Being worked out…") }));
  placeOf(record)?.replaceChildren(bar);
  try {
    const reply = await ask({
      schema: 1, ask: "learn", name: textIn(record, "name"), date: textIn(record, "date"),
      ...(locale && { locale }), ...(customs && { customs }), ash: { ...ashOf(evidence), earlier: evidence },
    }, { line: "kept ashes", onProgress: (far) => showProgress(bar, far) });
    const markup = reply.ok ? reply.html.ash ?? "" : "";
    if (reply.ok) told.set(textIn(record, "evidence"), markup);
    const place = placeOf(record);
    if (!isNewest() || !place) return false;
    if (reply.ok) putMarkup(place, markup);
    else place.textContent = reply.errors.map(({ problem }) => problem).join(" ");
    return true;
  } catch {
    bar.remove();
    return false; // something newer was asked, or the calculator does not run here
  }
}

/** @param {BookRecord} record */
const placeOf = (record) => all(`[data-evidence="${CSS.escape(record.id)}"]`)[0];

/** @param {Words} words @param {boolean} [isTrouble] */
function tell(words, isTrouble = true) {
  showWords(byId("ash-told"), words);
  byId("ash-told").hidden = !words();
  byId("ash-told").classList.toggle("warning", isTrouble);
  byId("ash-bar").hidden = true;
}

/** Keep what the batch on the page taught, under the name that was typed. */
async function keep() {
  const name = byId("ash-name", HTMLInputElement).value.trim();
  if (!name) {
    tell(() => say("Give it a name first."));
    byId("ash-name").focus();
    return;
  }
  tell(() => say("Being worked out…"), false);
  try {
    await keepAs(name, await learned(name));
  } catch (error) {
    // Superseded: it was pressed again.
    if (/** @type {Error} */ (error).name !== "Superseded") tell(() => say("Not saved: the calculator cannot run in this browser."));
  }
}

/** Ask what the batch on the page taught of its ash. @param {string} name */
function learned(name) {
  const bar = byId("ash-bar", HTMLProgressElement);
  bar.hidden = false;
  bar.removeAttribute("value");
  return ask({ ...page.request(), ask: "learn", name, date: today() }, {
    line: "learn", onProgress: (far) => showProgress(bar, far),
  });
}

/** @param {string} name @param {import("../types").Reply} reply */
async function keepAs(name, reply) {
  if (!reply.ok) {
    tell(() => wordsOf(reply.errors));
    return;
  }
  const before = inUse();
  const same = before && textIn(before, "name") === name ? before : null;
  const id = same?.id ?? records.newId();
  const { date, evidence } = reply.values.ash;
  const refused = await writeRecord("ash", id, { name, date, evidence });
  if (refused) {
    tell(() => refused.map(({ problem }) => problem).join(" "));
    return;
  }
  told.set(evidence, reply.html.ash ?? "");
  tell(() => "");
  show();
  const undo = same ? Object.fromEntries(["name", "date", "evidence"].map((field) => [field, textIn(same, field)])) : { removed: "yes" };
  toast(() => say("Saved “{name}” with what this batch showed.", { name }), () => sayIn("button", "Undo"), () => write(id, undo));
}

/** @param {string} id @param {Record<string, string>} fields */
async function write(id, fields) {
  await writeRecord("ash", id, fields);
  show();
}

/** @param {BookRecord} record */
async function forget(record) {
  await write(record.id, { removed: "yes" });
  toast(() => sayIn("ash that was kept", "Forgot “{name}”.", { name: textIn(record, "name") }), () => sayIn("button", "Undo"), () => write(record.id, { removed: "" }));
}

/** @param {typeof page} given */
export function start(given) {
  Object.assign(page, given);
  byId("keep-ash").hidden = false;
  byId("my-ash").addEventListener("toggle", show);
  byId("keep-ash").addEventListener("submit", (event) => {
    event.preventDefault();
    keep();
  });
  records.watch(show);
  onLanguage(() => {
    told.clear();
    show();
  });
}
