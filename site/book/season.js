// The engine's look at the book: first the typical figures of the whole of it, then the ranges of the bed that is shown.

import { localMoment } from "../common/clock.js";
import { byId, first, putMarkup, showProgress } from "../common/dom.js";
import { partsOf } from "../common/markup.js";
import { current } from "../common/places.js";
import { say, show } from "../common/words.js";
import { ask } from "../engine/client.js";
import { customs, wordsOf } from "../store/changes.js";
import { asObject } from "../store/records.js";
import { fieldsOf, tellErrors } from "./fields.js";
import { fieldOf } from "./names.js";
import { country, isAbout, shownRecords, view } from "./view.js";

/** @typedef {import("../types").BookRecord} BookRecord */
/** @typedef {import("../types").Reply} Reply */

const TYPING_PAUSE = 200; // milliseconds from the last key to a new look at the book
const PARTS = ["season", "season_bed", "metals"];
let timer = 0;
let look = 0; // counts looks, so that an answer to an older one is known

/** @param {string} name */
const partOf = (name) => first(`[data-book-part="${name}"]`);
/** @param {import("../types").Progress | null} far */
const tellProgress = (far) => showProgress(byId("book-ranges-bar", HTMLProgressElement), far);

/**
 * Look at the book anew, after a pause in milliseconds; where it is not shown, that waits until somebody comes to look.
 * @param {number} [pause]
 */
export function lookAgain(pause = TYPING_PAUSE) {
  const asked = ++look;
  clearTimeout(timer);
  if (current() !== "book") return;
  if (!shownRecords().length) {
    for (const part of PARTS) putMarkup(partOf(part), "");
    byId("book-freshness").hidden = true;
    byId("book-print-line").hidden = true;
    tellProgress(null);
    return;
  }
  mark("stale", () => say("Being worked out again…"));
  timer = setTimeout(() => lookAtBook(asked), pause);
}

/** @param {number} asked */
async function lookAtBook(asked) {
  const quick = await season(asked, shownRecords(), "off");
  if (!quick) return;
  showSeason(quick, ["season", "season_bed"]);
  if (!quick.ok) return;
  mark("quick", () => say("Typical figures for now. The likely ranges come next."));
  const reply = await season(asked, recordsOfBed(), "on");
  if (!reply?.ok) return;
  showSeason(reply, ["season_bed"]);
  mark("fresh", () => say("For what is written now."));
}

/** The entry that is being written, if one is. */
const entryOpen = () => (view.editing?.kind === "entry" ? view.editing : null);

/** The bed that is shown with all that is told of it, and the ashes and metals, which belong to every bed. */
function recordsOfBed() {
  const entry = entryOpen();
  const shown = (entry && fieldOf(entry.form, "bed")?.value) || view.bed;
  return shownRecords().filter((record) => isAbout(shown, record) || ["ash", "metals"].includes(record.kind));
}

/** @param {string} freshness @param {import("../common/words.js").Words} words */
function mark(freshness, words) {
  const line = byId("book-freshness");
  tellProgress(null);
  line.hidden = false;
  line.dataset.freshness = freshness;
  show(line, words);
}

/**
 * The engine's look at the book with what stands in the open form, or null where a newer one was asked.
 * @param {number} asked
 * @param {BookRecord[]} chosen
 * @param {"on" | "off"} ranges
 */
async function season(asked, chosen, ranges) {
  try {
    const reply = await ask(requestOf(chosen, ranges), {
      line: "book", onProgress: (far) => { if (asked === look && ranges === "on") tellProgress(far); },
    });
    return asked === look ? reply : null;
  } catch (error) {
    const { name } = /** @type {Error} */ (error);
    if (asked !== look || name === "Superseded") return null;
    mark("stale", name === "Died" ? () => say("The calculator stopped twice over this and was started again. Change something, or try again.") : ranges === "on"
      ? () => say("Typical figures. Working out the ranges took too long and was stopped.")
      : () => say("Not worked out: the calculator cannot run in this browser. What you wrote is kept."));
    return null;
  }
}

/** @param {BookRecord[]} chosen @param {"on" | "off"} ranges */
function requestOf(chosen, ranges) {
  const entry = entryOpen();
  const typed = entry && fieldsOf(entry);
  const seen = entry ? chosen.filter(({ id }) => id !== entry.id) : chosen;
  return {
    ...customs(), ask: "season", ranges, now: localMoment(), book: asObject(seen), bed: typed?.bed || view.bed,
    ...country(), ...(typed?.amount && { what_if: typed }),
  };
}

/** @param {Reply} reply @param {string[]} parts */
function showSeason(reply, parts) {
  const { editing } = view;
  if (editing) tellErrors(reply.ok ? [] : reply.errors.filter(({ field }) => field.startsWith("what_if")), reply.read_as);
  byId("book-what-if").hidden = !(editing && reply.ok && reply.html.what_if);
  if (!reply.ok) {
    mark("stale", editing ? () => say("This is not for what is typed now. Correct the marked fields first.") : () => wordsOf(reply.errors));
    return;
  }
  for (const part of parts) putMarkup(partOf(part), reply.html[part] ?? "");
  if (parts.includes("season")) layMetalsApart();
  if (reply.html.what_if) byId("book-what-if").replaceChildren(...partsOf(reply.html.what_if));
  byId("book-print-line").hidden = !reply.html.season_bed;
}

/** The engine's look at the whole book ends with the metals; they have a place of their own on the page. */
function layMetalsApart() {
  const nodes = [...partOf("season").childNodes];
  const start = nodes.findIndex((node) => node instanceof Element && node.matches('h2[id^="metals-"]'));
  partOf("metals").replaceChildren(...(start < 0 ? [] : nodes.slice(start)));
}
