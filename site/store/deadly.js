// Records that Python died over: left out of what the engine is asked, and kept everywhere else.
//
// Rules: only a mark of each is kept here. It holds as long as neither the record nor the program changes, so that a
// mended record, or a mended program, is tried again.

import { keep, kept } from "../common/storage.js";
import { isObject } from "./shapes.js";

/** @typedef {import("../types").BookRecord} BookRecord */

const MARKS = "feedcalc.book.deadly";

/** @returns {Record<string, unknown>} */
function marks() {
  try {
    const found = JSON.parse(kept(MARKS) ?? "");
    return isObject(found) ? found : {};
  } catch {
    return {};
  }
}

/** @param {BookRecord} record */
function markOf({ fields, history }) {
  const latest = Object.values(fields).map(({ at }) => at).sort().at(-1);
  return `${document.getElementById("engine-payload")?.dataset.sha256} ${latest} ${history.length}`;
}

/** Return those records that Python did not die over. @param {BookRecord[]} records */
export function withoutDeadly(records) {
  const known = marks();
  return records.filter((record) => known[record.id] !== markOf(record));
}

/** @param {BookRecord} record */
export const isDeadly = (record) => !withoutDeadly([record]).length;

/** @param {BookRecord} record */
export function markDeadly(record) {
  keep(MARKS, JSON.stringify({ ...marks(), [record.id]: markOf(record) }));
}
