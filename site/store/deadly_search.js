// Finds the record of the book that Python dies over, so that it can be set aside and everything else goes on.
//
// Rules: what is searched for is the shortest beginning of the book that still kills; its last record is the one. That
// takes as many deaths as halvings. If the book still kills without it, nothing is set aside.

import { toast } from "../common/notices.js";
import { say } from "../common/words.js";
import { ask, mendDeadly } from "../engine/client.js";
import { markDeadly, withoutDeadly } from "./deadly.js";
import { textIn } from "./shapes.js";

/** @typedef {import("../types").BookRecord} BookRecord */
/** @typedef {import("../types").Request} Request */

export function startSearch() {
  mendDeadly(search);
}

/** @param {Request} request */
async function search(request) {
  const records = /** @type {BookRecord[]} */ (request.book?.records ?? []);
  if (!records.length || !await survives(request, [])) return null;
  let [alive, dead] = [0, records.length]; // how many records from the beginning are survived, and are not
  while (dead - alive > 1) {
    const middle = (alive + dead) >> 1;
    if (await survives(request, records.slice(0, middle))) alive = middle;
    else dead = middle;
  }
  const culprit = records[alive];
  if (!culprit || !await survives(request, records.filter((record) => record !== culprit))) return null;
  markDeadly(culprit);
  tellSetAside([culprit]);
  return without;
}

/** Whether Python outlives a question with these records in the book. @param {Request} request @param {BookRecord[]} records */
async function survives(request, records) {
  try {
    await ask({ ...request, book: { ...request.book, records } }, { line: "search", isProbe: true });
  } catch (error) {
    if (/** @type {Error} */ (error).name === "Died") return false;
    throw error;
  }
  return true;
}

/** @param {Request} request */
const without = (request) => (request.book?.records ? { ...request, book: { ...request.book, records: withoutDeadly(request.book.records) } } : request);

/**
 * Say which records the sums leave out.
 * @param {BookRecord[]} records
 */
export function tellSetAside(records) {
  const names = records.map((record) => ["date", "what", "name", "batch"].map((name) => textIn(record, name)).filter(Boolean).join(" ") || record.id);
  if (names.length) toast(() => say("The calculator stops when it works on “{name}” in the book. The sums leave it out. The book and its file keep it.", { name: names.join("”, “") }));
}
