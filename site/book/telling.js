// What the book says it has done, and how to take that back.

import { byId, button, made } from "../common/dom.js";
import { onLanguage, sayIn } from "../common/words.js";
import { redoStep, undoStep, wordsOf } from "../store/changes.js";
import { refresh } from "./view.js";

/** @typedef {import("../common/words.js").Words} Words */

/** @type {{ words: Words, action: Words | null, act: () => void } | null} */
let told = null;

/**
 * Say what was done, and what can be done about it.
 * @param {Words} words
 * @param {Words | null} [action]
 * @param {() => void} [act]
 */
export function tell(words, action = null, act = () => {}) {
  told = { words, action, act };
  draw();
}

/** Say what was done, and offer to undo it. @param {Words} words */
export const tellUndoable = (words) => tell(words, () => sayIn("button", "Undo"), undo);

/** Say nothing any longer. */
export function tellNothing() {
  told = null;
  draw();
}

function draw() {
  const place = byId("book-told");
  place.replaceChildren();
  if (!told) return;
  place.append(made("p", told.words()));
  if (told.action) place.append(button(told.action(), told.act));
  place.append(button(sayIn("button", "Close"), tellNothing));
}

export async function undo() {
  tellRetraced(await undoStep(), () => sayIn("said after it was done", "Undone."));
}

export async function redo() {
  tellRetraced(await redoStep(), () => sayIn("said after it was done", "Done again."));
}

/** @param {import("../types").Refusal[] | null | undefined} refused @param {Words} words */
function tellRetraced(refused, words) {
  if (refused === undefined) return; // there was no step
  if (refused) {
    refresh();
    tell(() => wordsOf(refused));
  } else tell(words);
}

export function startTelling() {
  onLanguage(draw);
}
