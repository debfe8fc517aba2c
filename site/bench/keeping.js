// The batches of this browser as the page keeps them: named, listed, stored at every change, saved to a file.

import { today } from "../common/clock.js";
import { byId, button, download } from "../common/dom.js";
import { toast } from "../common/notices.js";
import { say, show } from "../common/words.js";
import { envelope, newId } from "../store/batch_files.js";
import * as store from "../store/batches.js";
import { state, theBatch } from "../store/state.js";

/** @typedef {import("../types").Batch} Batch */
/** @typedef {import("../types").Request} Request */

/** @param {{ name: string }} batch */
export const nameOf = ({ name }) => name || say("Batch without a name");

/** Store the batch on the page. */
export function keep() {
  const batch = theBatch();
  const theirs = store.unseen(batch);
  if (theirs) keepApart(theirs);
  state.editedHere = true;
  batch.changed = store.stamp(batch.changed);
  tellKept(store.store(batch));
}

/**
 * Another window wrote the batch while this one was not told: what it wrote stays, as a batch of its own.
 * @param {Batch} theirs
 */
function keepApart(theirs) {
  const { name } = add(nameOf(theirs), theirs.request, theirs.done);
  listBatches();
  toast(() => say("Another window changed this batch too. What was written there is kept as “{name}”.", { name }));
}

/**
 * Say whether what was typed is kept; where it is not, offer a file.
 * @param {boolean} kept
 */
export function tellKept(kept) {
  state.stored = kept;
  const place = byId("kept");
  place.classList.toggle("warning", !kept);
  if (kept) {
    show(place, () => say("Saved in this browser. A file is safer."));
    return;
  }
  const toFile = button(say("Save all to a file"), exportAll);
  toFile.id = "export-now";
  place.replaceChildren(`${say("Not saved: this browser's storage is full or blocked. Save it to a file:")} `, toFile);
}

/** Every key is stored at once; what could not be is tried again. */
export function flush() {
  if (!state.stored) keep();
}

/**
 * Add a batch and store it; its name is changed where another one has it.
 * @param {string} name
 * @param {Request} request
 * @param {string[]} [done]
 * @param {string} [id]
 */
export function add(name, request, done = [], id = newId()) {
  const made = { id, name: freeName(name), request, done, changed: store.stamp() };
  state.batches.unshift(made);
  tellKept(store.store(made));
  return made;
}

/** @param {string} name */
function freeName(name) {
  const taken = new Set(state.batches.map((each) => each.name));
  if (!taken.has(name)) return name;
  let number = 2;
  while (taken.has(`${name} ${number}`)) number += 1;
  return `${name} ${number}`;
}

/** List the batches to choose from. */
export function listBatches() {
  byId("batch-choice").replaceChildren(...state.batches.map((each) => {
    const option = new Option(nameOf(each), each.id);
    option.selected = each === state.batch;
    return option;
  }));
}

/** Hand the person a file of all batches. */
export const exportAll = () => download(`feedcalc-batches-${today()}.json`, envelope(state.batches), "application/json");
