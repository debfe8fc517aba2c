// What a record of the season book and a change of one look like; whatever else was stored is none.

/** @typedef {import("../types").BookRecord} BookRecord */

export const BOOK_FORMAT = "feedcalc season book";
export const KINDS = ["bed", "soil test", "entry", "ash", "metals"];
const STAMP = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$/;

/** @param {unknown} value @returns {value is Record<string, any>} */
export const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);

/** @param {unknown} value */
const isWritten = (value) => isObject(value) && typeof value.text === "string" && typeof value.by === "string"
  && typeof value.at === "string" && STAMP.test(value.at);

/** @param {unknown} value @returns {value is BookRecord} */
export function isRecord(value) {
  return isObject(value) && typeof value.id === "string" && /^[\w-]{1,64}$/.test(value.id) && KINDS.includes(value.kind)
    && isObject(value.fields) && Object.values(value.fields).every(isWritten)
    && Array.isArray(value.history) && value.history.every((past) => isWritten(past) && typeof past.field === "string");
}

/** @param {Record<string, any>} value @returns {value is import("../types").Change} */
export function isChange(value) {
  const { key, at, by, id, kind, fields } = value;
  return [key, at, by, id, kind].every((text) => typeof text === "string") && STAMP.test(at) && KINDS.includes(kind)
    && isObject(fields) && Object.values(fields).every((text) => typeof text === "string");
}

/**
 * Return the same text for the same record, whatever the order its parts are held in.
 * @param {unknown} value
 */
export function textOf(value) {
  return JSON.stringify(value, (_, part) => (isObject(part) ? Object.fromEntries(Object.entries(part).sort()) : part));
}

/** @param {BookRecord | null | undefined} record @param {string} name */
export const textIn = (record, name) => record?.fields[name]?.text ?? "";

/** @param {BookRecord} record */
export const isThere = (record) => textIn(record, "removed") !== "yes";
