// What the page is about at this moment: the batches kept here, the one on the page, and the steps that undo it.
// Every screen reads it here; bench/batch_choice.js and bench/history.js write it.

/** @typedef {import("../types").Batch} Batch */

export const state = {
  /** @type {Batch[]} */
  batches: [],
  /** @type {Batch | null} the one on the page, once the batches are opened */
  batch: null,
  /** @type {string[]} requests as they were before each step, as JSON */
  past: [],
  /** @type {string[]} requests that were undone, as JSON */
  future: [],
  /** @type {string | null} name of the field whose keys go into one step of undo */
  typing: null,
  /** Whether the last attempt to keep something worked. */
  stored: true,
  /** Whether this window wrote the batch since it was opened or another window wrote it. */
  editedHere: false,
  /** The request of the example that stands in the page, as JSON. */
  example: "",
};

/** Whether the batch on the page is still the example, untouched. */
export const isExample = () => JSON.stringify(state.batch?.request) === state.example;

/** What follows the batch on the page: called when its request is shown anew, and when an answer is. */
export const followers = {
  /** @type {(() => void)[]} */
  request: [],
  /** @type {(() => void)[]} */
  answer: [],
};

/** @param {"request" | "answer"} what */
export function tellFollowers(what) {
  for (const follow of followers[what]) follow();
}

/** Return the batch on the page. Throws an Error before the batches are opened. */
export function theBatch() {
  if (!state.batch) throw new Error("no batch is open yet");
  return state.batch;
}
