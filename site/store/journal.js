// Drafts, and the journal: changes asked for and not yet known to be in the book.
//
// Rules: a change goes into the journal before the engine is asked, and leaves it when the database has it; so it
// outlives a sleeping engine, a killed tab and a refused database. Both stand in localStorage, which is written while a
// tab is being closed, and beside it in the database, because a browser writes localStorage to the disk only seconds
// later and would lose it if it were killed itself.

import { keep, kept } from "../common/storage.js";
import { TYPED, done, held } from "./database.js";
import { isChange, isObject } from "./shapes.js";

/** @typedef {import("../types").Change} Change */
/** @typedef {import("../types").Draft} Draft */

const DRAFT = "feedcalc.book.draft.";
const JOURNAL = "feedcalc.book.journal.";
// What is taken away leaves an empty text in localStorage until the database has let go of it as well; else a window
// closed between the two would bring it back.
const GONE = "";

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

/** @param {string} key @param {string | null} text */
function keepTwice(key, text) {
  const isHeld = keep(key, text ?? (held.database ? GONE : null));
  try {
    const change = held.database?.transaction(TYPED, "readwrite", { durability: "relaxed" });
    const place = change?.objectStore(TYPED);
    if (text === null) place?.delete(key);
    else place?.put(text, key);
    change?.addEventListener("complete", () => { if (kept(key) === GONE) keep(key, null); });
  } catch { /* the database is being closed: localStorage has it */ }
  return isHeld;
}

/** Take from the database what localStorage has lost. */
export async function bringBackTyped() {
  if (!held.database) return;
  const place = held.database.transaction(TYPED).objectStore(TYPED);
  const [keys, texts] = await Promise.all([done(place.getAllKeys()), done(place.getAll())]);
  keys.map(String).forEach((key, at) => {
    if (kept(key) === GONE) keepTwice(key, null);
    else if (kept(key) === null) keep(key, texts[at]);
  });
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
