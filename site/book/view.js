// What the book shows at this moment, and which records that are.

import { byId } from "../common/dom.js";
import { keep, kept } from "../common/storage.js";
import * as records from "../store/records.js";
import { isThere, textIn } from "../store/shapes.js";

/**
 * @typedef {import("../types").BookRecord} BookRecord
 * @typedef {import("../types").RecordKind} RecordKind
 * @typedef {object} Editing the form that is open
 * @property {HTMLFormElement} form
 * @property {RecordKind} kind
 * @property {string} key of its draft
 * @property {BookRecord | null} was the record that it changes
 * @property {string} id of the record that it makes or changes
 * @property {{ request: string, batch: string }} extra fields of the record that the form has no input for
 * @property {boolean} saving
 */

const BED = "feedcalc.book.bed";

export const view = {
  /** Id of the bed that is shown. */
  bed: kept(BED) ?? "",
  /** @type {BookRecord[] | null} records of the example book while that is looked at */
  example: null,
  /** @type {Editing | null} */
  editing: null,
};

/** Return the country whose limits of metals are chosen, as part of a request; nothing where none is. */
export function country() {
  const { value } = byId("book-country", HTMLSelectElement);
  return value ? { country: value } : {};
}

let redraw = () => {};

/**
 * Name what draws the whole book; then `refresh` does so.
 * @param {() => void} draw
 */
export function drawWith(draw) {
  redraw = draw;
}

/** Draw the whole book anew. */
export const refresh = () => redraw();

/** Return the records that are shown, of the book or the example. */
export const shownRecords = () => view.example ?? records.all();

/** @param {RecordKind} kind */
export const ofKind = (kind) => shownRecords().filter((record) => record.kind === kind && isThere(record));

/** @param {string} id */
export const withId = (id) => shownRecords().find((record) => record.id === id);

/** @param {string} bed @param {BookRecord} record */
export const isAbout = (bed, record) => record.id === bed || textIn(record, "bed") === bed;

/**
 * Show another bed; where nothing is kept it is chosen anew next time.
 * @param {string} id
 */
export function chooseBed(id) {
  view.bed = id;
  keep(BED, id);
}
