// Which batch is on the page: opened, added, deleted, and followed where another window writes it.

import { localMoment } from "../common/clock.js";
import { byId } from "../common/dom.js";
import { toast } from "../common/notices.js";
import { CUSTOMS, keep as keepText, kept, ofThisTab } from "../common/storage.js";
import { allOf, say, sayIn } from "../common/words.js";
import * as store from "../store/batches.js";
import { isExample, state, theBatch } from "../store/state.js";
import { mark, recalculate, showTicks } from "./answers.js";
import * as ashes from "./ash_choice.js";
import * as form from "./form.js";
import { tellHistory, undo } from "./history.js";
import { add, keep, listBatches, nameOf, tellKept } from "./keeping.js";

/** @typedef {import("../types").Batch} Batch */

const CURRENT = "feedcalc.current";
let begun = ""; // id of the batch made because none was found

/**
 * Put a batch on the page; returns words on what of it there is no field for, or "".
 * @param {Batch} chosen
 */
export function turnTo(chosen) {
  Object.assign(state, { batch: chosen, past: [], future: [], typing: null, editedHere: false });
  store.see(chosen);
  // Where one is refused the newest is opened next time.
  if (keepText(CURRENT, chosen.id, ofThisTab)) keepText(CURRENT, chosen.id);
  const left = form.write(chosen.request);
  if (left.length) {
    chosen.request = form.read();
    keep();
  }
  byId("batch-name", HTMLInputElement).value = chosen.name;
  byId("link-text").hidden = true;
  listBatches();
  tellHistory();
  showTicks();
  ashes.show();
  recalculate();
  const told = () => say("Left out, because this page has no field for it: {fields}.", { fields: allOf(left) });
  return () => (left.length ? ` ${told()}` : "");
}

/** Turn to the batch with this id. */
export function turnToChosen(/** @type {string} */ id) {
  const chosen = state.batches.find((each) => each.id === id);
  if (chosen) turnTo(chosen);
}

/** Add a batch and turn to it. */
export function beginBatch() {
  turnTo(add(sayIn("name of a batch", "Batch"), empty()));
  byId("batch-name", HTMLInputElement).select();
}

/** Add a copy of the batch on the page and turn to it. */
export function duplicate() {
  const batch = theBatch();
  turnTo(add(sayIn("name of a batch", "{name}, copy", { name: nameOf(batch) }), structuredClone(batch.request)));
}

/** Delete the batch on the page, and offer to undo that. */
export function deleteBatch() {
  const gone = theBatch();
  const place = state.batches.indexOf(gone);
  state.batches.splice(place, 1);
  store.remove(gone.id);
  turnTo(state.batches[0] ?? add(sayIn("name of a batch", "Batch"), empty()));
  toast(() => sayIn("said after it was done", "Deleted “{name}”.", { name: nameOf(gone) }), () => sayIn("button", "Undo"), () => {
    state.batches.splice(place, 0, gone);
    tellKept(store.store(gone));
    turnTo(gone);
  });
}

/** A batch with nothing filled in but the clock and how numbers are written where this browser is at home. */
function empty() {
  const customs = kept(CUSTOMS);
  return { schema: 1, now: localMoment(), locale: form.localeAtHome(), ...(customs && { customs }) };
}

/** Open the batches of this browser, or begin with the example that stands in the page. */
export function openBatches() {
  const example = form.read();
  state.example = JSON.stringify(example);
  state.batches = store.open();
  if (store.seemsLost(state.batches.length)) {
    location.reload();
    return;
  }
  const wanted = kept(CURRENT, ofThisTab) ?? kept(CURRENT);
  byId("batches").hidden = false;
  const [newest] = state.batches;
  if (newest) {
    tellKept(true);
    mark("stale", () => say("This is an example until the calculator has loaded. Your batch comes in a moment."));
    turnTo(state.batches.find(({ id }) => id === wanted) ?? newest);
  } else {
    const made = add(sayIn("name of a batch", "Example"), example);
    begun = made.id;
    turnTo(made);
  }
}

/** Follow what other windows write, and what comes back from the database. */
export function followChanges() {
  store.watch(followStored);
  store.watchForLost(() => {
    const isUnused = theBatch().id === begun && isExample() && !state.editedHere;
    if (!isUnused || byId("preview", HTMLDialogElement).open) {
      followStored();
      return;
    }
    store.remove(begun);
    location.reload(); // so that this window hears of what others write, too
  });
}

/** What is stored was changed elsewhere: a newer copy of the batch on the page is shown, and can be undone. */
function followStored() {
  const mine = theBatch();
  state.batches = store.open();
  const theirs = state.batches.find(({ id }) => id === mine.id);
  if (theirs && theirs.changed > mine.changed) {
    takeTheirs(theirs, state.editedHere ? [...state.past, JSON.stringify(mine.request)] : state.past);
    return;
  }
  if (theirs) state.batches[state.batches.indexOf(theirs)] = mine;
  else state.batches.unshift(mine);
  listBatches();
}

/** @param {Batch} theirs @param {string[]} before steps that undo it */
function takeTheirs(theirs, before) {
  turnTo(theirs);
  state.past = before;
  tellHistory();
  toast(() => say("This batch was changed in another window."), before.length ? () => sayIn("button", "Undo") : null, undo);
}
