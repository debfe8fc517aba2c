// Batches kept in this browser. Knows no page and no chemistry.
//
// Rules: each batch has a key of its own, so that two windows at two batches never overwrite each other. What is stored
// but can't be read is left where it is. All are kept twice; localStorage is what is read, because it is there at once.

import { parsed, wellFormed } from "./batch_files.js";
import { keepTwice, onBroughtBack } from "./twice.js";

/** @typedef {import("../types").Batch} Batch */

const KEY = "feedcalc.batch.";
const KEPT = "feedcalc keeps something here"; // in window.name, which outlives a reload of the tab
const LAST_MOMENT = Date.UTC(9999, 0);
/** @type {Map<string, string>} */
const seen = new Map(); // id -> what this window last showed or stored of a batch

/**
 * [key, text] of all that is stored under the keys of batches; nothing where storage is refused.
 * @returns {[string, string][]}
 */
function stored() {
  try {
    const keys = Object.keys(localStorage).filter((key) => key.startsWith(KEY));
    return keys.map((key) => /** @type {[string, string]} */ ([key, localStorage.getItem(key) ?? ""])).filter(([, text]) => text);
  } catch {
    return [];
  }
}

/** Return the batches stored here, the newest first. */
export function open() {
  const found = stored().map(([, text]) => wellFormed(parsed(text))).filter((batch) => batch !== null);
  return found.sort((one, other) => (other.changed > one.changed ? 1 : -1));
}

/**
 * Whether this tab kept batches before and finds none now. A busy browser may open a page with empty storage once, and
 * forgets what is written then; loaded anew it has everything again. Says so once only: the storage may have been cleared.
 * @param {number} found how many batches there are
 */
export function seemsLost(found) {
  const isLost = !found && window.name === KEPT;
  window.name = found ? KEPT : "";
  return isLost;
}

/** Return { key: text } of what is stored here as a batch and is none. */
export const unreadable = () => Object.fromEntries(stored().filter(([, text]) => !wellFormed(parsed(text))));

/**
 * Store a batch; returns false where the browser is full or refuses.
 * @param {Batch} batch
 */
export function store(batch) {
  const held = keepTwice(KEY + batch.id, JSON.stringify(batch));
  if (!held) return false;
  window.name = KEPT;
  see(batch);
  return true;
}

/** @param {Batch} batch */
const contentOf = ({ name, request, done }) => JSON.stringify([name, request, done]);

/**
 * This window shows what is stored of a batch.
 * @param {Batch} batch
 */
export function see(batch) {
  seen.set(batch.id, contentOf(batch));
}

/**
 * Return what another window stored of a batch that this one has not seen, or null.
 * @param {Batch} batch
 */
export function unseen(batch) {
  let there = null;
  try {
    there = wellFormed(parsed(localStorage.getItem(KEY + batch.id)));
  } catch { /* storage is refused: no other window can have used it */ }
  return there && ![seen.get(batch.id), contentOf(batch)].includes(contentOf(there)) ? there : null;
}

/** @param {string} id */
export function remove(id) {
  keepTwice(KEY + id, null); // nothing is stored where storage is refused
}

/**
 * Call back whenever another window changed something.
 * @param {() => void} onChange
 */
export function watch(onChange) {
  window.addEventListener("storage", ({ key }) => { if (key === null || key.startsWith(KEY)) onChange(); });
}

/**
 * Call back whenever the database had batches that localStorage has lost or has older; it has them again by then.
 * @param {() => void} onBack
 */
export function watchForLost(onBack) {
  onBroughtBack((keys) => { if (keys.some((key) => key.startsWith(KEY))) onBack(); });
}

/**
 * Return now, but later than the time `after`: a clock that was set back must not make a change look old.
 * @param {string} [after]
 */
export function stamp(after = "") {
  const before = Date.parse(after);
  return new Date(Math.max(Date.now(), before < LAST_MOMENT ? before + 1 : 0)).toISOString();
}
