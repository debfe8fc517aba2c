// The season book, kept in this browser. Knows no page, no chemistry, and does no merging: the engine does that.
//
// Rules: what is stored but is no record is never deleted; where a record of its id comes back from a file, it is laid
// into a store of its own beside the book, and so is one that Python died over. The same change made twice gives the same book, because its time and writer
// are fixed when it is asked for.

import { keep, kept } from "../common/storage.js";
import { ASIDE, RECORDS, connect, done, held, lose } from "./database.js";
import { isDeadly, withoutDeadly } from "./deadly.js";
import { BOOK_FORMAT, isRecord, textOf } from "./shapes.js";
import { bringBack } from "./twice.js";

/** @typedef {import("../types").BookRecord} BookRecord */

const DEVICE = "feedcalc.book.device";
const LATEST = "feedcalc.book.latest";
const CHANGED = "feedcalc.book.changed";
const CHANNEL = "feedcalc.book";
const VERSION = 1;

/** @type {Map<string, BookRecord>} */
let records = new Map();
/** @type {Map<string, string>} */
let stored = new Map(); // id -> text of what the database held when it was read or written here
/** @type {{ id: string, raw: unknown }[]} */
let unreadable = [];
/** @type {(() => void)[]} */
const followers = []; // read anew, and show it
let ownId = "";
let latest = 0;
let changes = 0; // counts what this window wrote, so that the mark for other windows always differs

// ---- Reading and writing ----------------------------------------------------------------------------------

/** Return a promise of the state; may be asked again, reads anew. */
export async function open() {
  if (!held.database) {
    await connect(async () => {
      await bringBack().catch(() => {});
      for (const look of followers) look();
    });
    await bringBack().catch(() => {});
  }
  if (held.database) await readAll(held.database);
  return state();
}

/** @param {IDBDatabase} database */
async function readAll(database) {
  let found;
  try {
    found = await done(database.transaction(RECORDS).objectStore(RECORDS).getAll());
  } catch {
    lose("refused");
    return;
  }
  const unkept = [...records.values()].filter(({ id }) => !stored.has(id)); // what only memory has
  records = new Map(unkept.map((record) => [record.id, record]));
  stored = new Map();
  unreadable = [];
  for (const value of found) {
    if (isRecord(value)) {
      records.set(value.id, value);
      stored.set(value.id, textOf(value));
    } else {
      unreadable.push({ id: String(value?.id), raw: value });
    }
  }
}

/**
 * Return a promise of "kept" | "memory" | "stale"; all in one transaction or none. "stale": another window has written
 * one of them since it was read here; nothing was put, all is read anew.
 * @param {BookRecord[]} given
 */
export async function put(given) {
  const { database } = held;
  if (!database) return inMemory(given);
  const ids = new Set(given.map(({ id }) => id));
  const changed = [...all().filter(({ id }) => !stored.has(id) && !ids.has(id)), ...given];
  let outcome;
  try {
    outcome = await write(database, changed);
  } catch (error) {
    const full = /** @type {any} */ (error)?.name === "QuotaExceededError";
    if (!full) lose("refused");
    held.why = full ? "full" : "refused";
    return inMemory(changed);
  }
  if (outcome === "stale") {
    await readAll(database);
    return "stale";
  }
  held.why = "";
  for (const record of changed) {
    records.set(record.id, record);
    stored.set(record.id, textOf(record));
  }
  unreadable = unreadable.filter(({ id }) => !stored.has(id));
  tellOthers();
  return "kept";
}

/** @param {BookRecord[]} changed */
function inMemory(changed) {
  for (const record of changed) {
    records.set(record.id, record);
    stored.delete(record.id);
  }
  return "memory";
}

/**
 * All of `changed` in one transaction, unless one of them is no longer as it was read here.
 * @param {IDBDatabase} database
 * @param {BookRecord[]} changed
 * @returns {Promise<"kept" | "stale">}
 */
function write(database, changed) {
  return new Promise((resolve, reject) => {
    const transaction = database.transaction([RECORDS, ASIDE], "readwrite", { durability: "strict" });
    const place = transaction.objectStore(RECORDS);
    let stale = false;
    let left = changed.length;
    transaction.oncomplete = () => resolve("kept");
    transaction.onabort = () => (stale ? resolve("stale") : reject(transaction.error));
    for (const record of changed) {
      const reading = place.get(record.id);
      reading.onsuccess = () => {
        if (stale) return;
        const there = reading.result;
        if (!isAsRead(record, there)) {
          stale = true;
          transaction.abort();
          return;
        }
        if (there !== undefined && (!isRecord(there) || isDeadly(there))) transaction.objectStore(ASIDE).add(there);
        place.put(record);
        if (!(left -= 1)) transaction.commit?.();
      };
    }
  });
}

/**
 * Whether what the database holds is what was read here, or is what is to be written anyway.
 * @param {BookRecord} record
 * @param {unknown} there
 */
function isAsRead(record, there) {
  if (there === undefined) return !stored.has(record.id);
  return !isRecord(there) || [stored.get(record.id), textOf(record)].includes(textOf(there));
}

// ---- What was read ----------------------------------------------------------------------------------------

/**
 * Return the records as last read or written, of one kind or of all.
 * @param {string} [kind]
 */
export function all(kind = "") {
  return [...records.values()].filter((record) => !kind || record.kind === kind);
}

/** Return the text of the book, as the engine and a file take it. */
export const envelope = (chosen = all()) => JSON.stringify({ format: BOOK_FORMAT, version: VERSION, records: chosen });

/**
 * Return the book as an object, for a request; without records that Python died over.
 * @param {BookRecord[]} [chosen]
 */
export const asObject = (chosen = all()) => JSON.parse(envelope(withoutDeadly(chosen)));

/** Return the records that Python died over: shown and kept, and left out of what the engine is asked. */
export const deadly = () => all().filter(isDeadly);

/** Return [{ id, raw }] of what is stored but is no record. */
export const broken = () => unreadable;

/** Return { place: "browser" | "memory", why }. */
export function state() {
  return { place: held.database && held.why !== "full" ? "browser" : "memory", why: held.why };
}

// ---- Who and when -----------------------------------------------------------------------------------------

/** Return a new id for a record. */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Return an id of this browser, told to nobody but the book. */
export function device() {
  if (ownId) return ownId;
  ownId = kept(DEVICE) ?? "";
  if (!/^[\w-]{1,64}$/.test(ownId)) {
    ownId = newId();
    keep(DEVICE, ownId);
  }
  return ownId;
}

/**
 * Return a time for a change: later than any told before and than all in these records. A clock that was set back, or
 * another device's that runs ahead, must not make a change look old.
 * @param {BookRecord[]} [changed]
 */
export function stamp(changed = []) {
  /** @param {string[]} times */
  const known = (times) => times.map((at) => Date.parse(at)).filter(Number.isFinite);
  latest = Math.max(Date.now(), latest + 1, ...known([kept(LATEST) ?? ""]).map((moment) => moment + 1));
  keep(LATEST, new Date(latest).toISOString());
  const told = known(changed.flatMap(({ fields }) => Object.values(fields).map(({ at }) => at)));
  return new Date(Math.max(latest, ...told.map((moment) => moment + 1))).toISOString();
}

// ---- Other windows ----------------------------------------------------------------------------------------

const channel = openChannel();

function openChannel() {
  try {
    return new BroadcastChannel(CHANNEL);
  } catch { // then the mark in localStorage tells them
    return null;
  }
}

function tellOthers() {
  keep(CHANGED, `${device()} ${Date.now()} ${(changes += 1)}`);
  channel?.postMessage("changed");
}

/**
 * Call back when another window wrote, or the database opened late; all is read anew before.
 * @param {() => void} onChange
 */
export function watch(onChange) {
  let seen = kept(CHANGED);
  const look = async () => {
    seen = kept(CHANGED);
    await open();
    onChange();
  };
  followers.push(look);
  if (channel) channel.addEventListener("message", look);
  else window.addEventListener("storage", ({ key }) => { if (key === null || key === CHANGED) look(); });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && seen !== kept(CHANGED)) look();
  });
}
