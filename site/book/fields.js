// The fields of a form of the book: what stands in them, and what the engine says of them.

import { all, byId, fieldsIn, offerUnknown } from "../common/dom.js";
import { say, show } from "../common/words.js";
import { wordsOf } from "../store/changes.js";
import { fieldOf } from "./names.js";
import { view } from "./view.js";

/** @typedef {import("./view.js").Editing} Editing */
/** @typedef {import("../types").Field} Field */

const EXAMPLES = new Map(Object.entries({
  "liquid feed": "9 L", "dry ash": "1 cup", sludge: "1 L", compost: "10 L", lime: "500 g", other: "1 kg",
}));

/**
 * Return what stands in the form, as the fields of a record; hidden fields count as empty.
 * @param {Editing} editing
 */
export function fieldsOf({ form, kind, extra }) {
  /** @type {Record<string, string>} */
  const fields = {};
  for (const input of fieldsIn(form)) fields[input.name] = input.closest("[data-only][hidden]") ? "" : input.value.trim();
  if (kind === "entry") {
    const within = /** @type {HTMLElement | null} */ (byId("entry-batch-choice").closest("[data-only]"));
    fields.request = within?.hidden ? "" : extra.request;
    fields.batch = within?.hidden ? "" : extra.batch;
  }
  return fields;
}

/** @param {Field} input @param {string} value */
export function setValue(input, value) {
  if (input instanceof HTMLSelectElement) {
    offerUnknown(input, value);
    if (!value && ![...input.options].some((option) => !option.value)) {
      input.selectedIndex = 0;
      return;
    }
  }
  input.value = value;
}

/**
 * Show the fields that apply to what is written.
 * @param {Editing} editing
 */
export function showWhatApplies({ form, kind }) {
  const by = fieldOf(form, kind === "metals" ? "of" : "what")?.value ?? "";
  for (const place of all("[data-only]", form)) place.hidden = !place.dataset.only?.split("|").includes(by);
  const amount = fieldOf(form, "amount");
  if (kind === "entry" && amount instanceof HTMLInputElement) amount.placeholder = EXAMPLES.get(by) ?? "";
}

/** @param {string} path */
const last = (path) => path.split(".").at(-1) ?? "";

/**
 * Show the engine's errors at the fields of the open form, and how it read what stands in them.
 * @param {import("../types").Refusal[]} errors
 * @param {Record<string, string>} [readings]
 */
export function tellErrors(errors, readings = {}) {
  if (!view.editing) return;
  const { form } = view.editing;
  const places = all("[data-written-error]", form);
  const known = new Set(places.map(({ dataset }) => dataset.writtenError));
  for (const place of places) {
    const name = place.dataset.writtenError ?? "";
    const here = errors.filter(({ field }) => (name ? last(field) === name : !known.has(last(field))));
    show(place, () => wordsOf(here));
    place.hidden = !here.length;
    if (name) markField(fieldOf(form, name), Boolean(here.length));
  }
  for (const place of all("[data-written-echo]", form)) {
    const amount = readings?.[`what_if.${place.dataset.writtenEcho}`];
    show(place, () => (amount ? say("Read as {amount}.", { amount }) : ""));
  }
}

/** @param {Field | null} field @param {boolean} isWrong */
function markField(field, isWrong) {
  field?.toggleAttribute("aria-invalid", false);
  if (!isWrong) return;
  field?.setAttribute("aria-invalid", "true");
  field?.closest("details")?.setAttribute("open", "");
}
