// Batches as files and links. Knows no page and no chemistry.
//
// Rules: a file is {"format": "feedcalc batches", "version": 1, "batches": [...]}; a bare request is read as well. What
// can't be read is said in words and never thrown; nothing wild comes out of a file, whatever went in.

import { say } from "../common/words.js";
import { BOOK_FORMAT, isObject } from "./shapes.js";

/** @typedef {import("../types").Batch} Batch */
/** @typedef {import("../types").FoundBatches} FoundBatches */

const FORMAT = "feedcalc batches";
const WHOLE = "feedcalc";
const VERSION = 1;
const LONGEST = 2000000;
const DEEPEST = 20; // levels in a request; kept readings of an ash take six
/**
 * From each older version to the next. Version 0 is a bare request, such as the command line reads.
 * @type {((document: any) => any)[]}
 */
const MIGRATIONS = [
  (request) => ({ format: FORMAT, version: 1, batches: [{ name: "", request }] }),
];

/** Return a new id for a batch. */
export const newId = () => crypto.randomUUID?.() ?? `b${Date.now()}${Math.random()}`.replaceAll(".", "");

/**
 * Return what a JSON text says, or undefined where it is none.
 * @param {string | null} text
 * @returns {unknown}
 */
export function parsed(text) {
  try {
    return JSON.parse(text ?? "");
  } catch {
    return undefined;
  }
}

/**
 * Whether something is nested deeper than any request is, so deep that walking it could break the page.
 * @param {unknown} value
 */
function isTooDeep(value) {
  let level = [value];
  for (let depth = 0; depth < DEEPEST; depth++) {
    level = level.flatMap((each) => (typeof each === "object" && each ? Object.values(each) : []));
  }
  return level.length > 0;
}

/**
 * Return a batch made of what is usable in `value`, or null.
 * @param {unknown} value
 * @returns {Batch | null}
 */
export function wellFormed(value) {
  if (!isObject(value) || !isObject(value.request) || isTooDeep(value.request)) return null;
  const { id, name, request, done, changed } = value;
  return {
    id: typeof id === "string" && /^[\w-]{1,64}$/.test(id) ? id : newId(),
    name: typeof name === "string" ? name.slice(0, 80) : "",
    request,
    done: Array.isArray(done) ? done.filter((step) => typeof step === "string").slice(0, 50) : [],
    changed: typeof changed === "string" ? changed : "",
  };
}

/**
 * Return the text of a file of batches.
 * @param {Partial<Batch>[]} batches
 */
export function envelope(batches) {
  return JSON.stringify({ format: FORMAT, version: VERSION, batches }, null, 1) + "\n";
}

/** @param {Record<string, any>} document */
function versionOf(document) {
  if (document.format === FORMAT) return document.version;
  return document.schema === 1 ? 0 : undefined;
}

/**
 * Return the batches in the text of a file, or the problem in words.
 * @param {string} text
 * @returns {FoundBatches}
 */
export function read(text) {
  if (text.length > LONGEST) return { problem: () => say("This file is far too long to hold batches.") };
  let document = parsed(text);
  if (!isObject(document)) return { problem: () => say("This is not a file of batches: it is not a JSON object.") };
  const version = versionOf(document);
  if (!Number.isInteger(version) || version < 0) return { problem: () => say("This is JSON, but not a file of batches.") };
  if (version > VERSION) return { problem: () => say("A newer feedcalc wrote this file. Open it with that one.") };
  for (const migrate of MIGRATIONS.slice(version)) document = migrate(document);
  const held = isObject(document) ? document.batches : null;
  if (!Array.isArray(held)) return { problem: () => say("There are no batches in this file.") };
  const batches = held.map(wellFormed).filter((batch) => batch !== null);
  if (!batches.length) return { problem: () => say("There is no readable batch in this file.") };
  return { batches, unreadable: held.length !== batches.length };
}

/**
 * Return the text of one file with batches and book.
 * @param {Partial<Batch>[]} batches
 * @param {string} book the text of a book's file
 */
export function wholeFile(batches, book) {
  return JSON.stringify({ format: WHOLE, version: VERSION, batches: JSON.parse(envelope(batches)), book: JSON.parse(book) }, null, 1) + "\n";
}

/**
 * Return the texts of what a file holds: batches, a book, or both. A table is a book's; whatever else is taken for batches.
 * @param {string} name
 * @param {string} text
 * @returns {{ batches?: string, book?: string }}
 */
export function partsOfFile(name, text) {
  if (/\.csv$/i.test(name)) return { book: text };
  const document = text.length > LONGEST ? undefined : parsed(text);
  if (!isObject(document)) return { batches: text };
  if (document.format === BOOK_FORMAT) return { book: text };
  if (document.format !== WHOLE) return { batches: text };
  const { batches, book } = document;
  return { ...(batches && { batches: JSON.stringify(batches) }), ...(book && { book: JSON.stringify(book) }) };
}

/**
 * Return the fragment of an address, without #, that carries a batch.
 * @param {Pick<Batch, "name" | "request">} batch
 */
export function link({ name, request }) {
  const bytes = new TextEncoder().encode(envelope([{ name, request }]));
  const base64 = btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
  return "batch=" + base64.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

/**
 * Return what `read` does of the batch in a fragment, or null where there is no batch in it.
 * @param {string} hash
 * @returns {FoundBatches | null}
 */
export function readLink(hash) {
  const carrying = /^#?batch=([\w-]+)/.exec(hash)?.[1]; // what a message or a tracker put behind it is cut off
  if (!carrying) return null;
  try {
    const binary = atob(carrying.replaceAll("-", "+").replaceAll("_", "/"));
    const text = new TextDecoder("utf-8", { fatal: true }).decode(Uint8Array.from(binary, (c) => c.charCodeAt(0)));
    const carried = read(text);
    if (!carried.problem) return carried;
  } catch { /* said below */ }
  return { problem: () => say("The batch in this link can't be read: it is damaged, or a newer feedcalc made it.") };
}
