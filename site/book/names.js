// What records, choices and days are called on the page.

import { all } from "../common/dom.js";
import { say } from "../common/words.js";
import { textIn } from "../store/shapes.js";
import { ofKind } from "./view.js";

/** @typedef {import("../types").BookRecord} BookRecord */

export const forms = /** @type {HTMLFormElement[]} */ (all("form[data-kind]"));

/**
 * Return the form in which records of a kind are written.
 * @param {string} kind
 */
export const formOf = (kind) => forms.find((form) => form.dataset.kind === kind);

/**
 * Return a field of a form by its name.
 * @param {HTMLFormElement | undefined} form
 * @param {string} name
 */
export function fieldOf(form, name) {
  const field = form?.elements.namedItem(name);
  return field instanceof Element ? /** @type {import("../types").Field} */ (field) : null;
}

/** @param {BookRecord} record */
export function nameOf(record) {
  const { kind } = record;
  if (["bed", "ash", "metals"].includes(kind)) return textIn(record, "name") || say("Without a name");
  const day = dayOf(textIn(record, "date"));
  if (kind === "soil test") return say("Soil test of {day}: pH {ph}", { day, ph: textIn(record, "ph") });
  const what = choiceOf("entry", "what", textIn(record, "what"));
  return say("{day}: {what}, {amount}", { day, amount: textIn(record, "amount"), what });
}

/** @param {BookRecord} one @param {BookRecord} other */
export const byName = (one, other) => nameOf(one).localeCompare(nameOf(other));

/** Return the beds, by name. */
export const beds = () => ofKind("bed").sort(byName);

/**
 * Return what a chosen value is called on the page; the value itself where the page does not offer it.
 * @param {string} kind
 * @param {string} name
 * @param {string} value
 */
export function choiceOf(kind, name, value) {
  return fieldOf(formOf(kind), name)?.querySelector(`option[value="${CSS.escape(value)}"]`)?.textContent || value;
}

/** @param {string} text */
export function dayOf(text) {
  const moment = new Date(/^\d{4}-\d\d-\d\d$/.test(text) ? `${text}T12:00` : text);
  if (Number.isNaN(moment.getTime())) return text;
  return moment.toLocaleDateString(document.documentElement.lang, { day: "numeric", month: "short", year: "numeric", numberingSystem: "latn" });
}
