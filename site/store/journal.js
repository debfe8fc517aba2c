// Drafts, and the journal: changes asked for and not yet known to be in the book. Both are kept twice.
//
// Rules: a change goes into the journal before the engine is asked, and leaves it when the database has it; so it
// outlives a sleeping engine, a killed tab and a refused database.

import { kept } from "../common/storage.js";
import { isChange, isObject } from "./shapes.js";
import { keepTwice } from "./twice.js";

/** @typedef {import("../types").Change} Change */
/** @typedef {import("../types").Draft} Draft */

const DRAFT = "feedcalc.book.draft.";
const JOURNAL = "feedcalc.book.journal.";

/**
 * What stands under keys with this beginning, without it; what is not an object of ours is left alone.
 * @param {string} beginning
 */
function under(beginning) {
  /** @type {Record<string, Record<string, any>>} */
  const found = {};
  try {
    for (let place = 0; place < localStorage.length; place++) {
      const key = localStorage.key(place) ?? "";
      const value = key.startsWith(beginning) ? objectIn(kept(key)) : null;
      if (value) found[key.slice(beginning.length)] = value;
    }
  } catch { /* refused */ }
  return found;
}

/** @param {string | null} text */
function objectIn(text) {
  try {
    const value = JSON.parse(text ?? "");
    return isObject(value) ? value : null;
  } catch {
    return null; // left where it is
  }
}

/** Return { key: draft } of what was being typed. */
export const drafts = () => /** @type {Record<string, Draft>} */ (under(DRAFT));

/**
 * Return what was being typed in one form, or null.
 * @param {string} key
 */
export const draft = (key) => drafts()[key] ?? null;

/**
 * Keep what is being typed, at once, also while the tab is being closed; null takes it away. Returns whether it is kept.
 * @param {string} key
 * @param {Draft | null} typed
 */
export const keepDraft = (key, typed) => keepTwice(DRAFT + key, typed && JSON.stringify(typed));

/** Return the changes asked for and not yet known to be in the book, the oldest first. */
export function journal() {
  return Object.values(under(JOURNAL)).filter(isChange).sort((one, other) => (one.at > other.at ? 1 : -1));
}

/**
 * Write a change into the journal; returns whether it is kept.
 * @param {Change} change
 */
export const addToJournal = (change) => keepTwice(JOURNAL + change.key, JSON.stringify(change));

/** @param {string} key */
export const takeFromJournal = (key) => keepTwice(JOURNAL + key, null);
