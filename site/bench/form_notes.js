// What the engine says of the form: assumptions, readings and errors, each at its field.

import { all, byId, first } from "../common/dom.js";
import { go } from "../common/places.js";
import { say, sayIn, show } from "../common/words.js";
import { wordsOf } from "../store/changes.js";
import * as inForm from "./form.js";

/** @typedef {import("../types").Reply} Reply */
/** @typedef {import("../types").Refusal} Refusal */
/** @typedef {import("../types").Field} Field */

const form = byId("batch", HTMLFormElement);

/** @param {string} path @returns {Field | null} */
const fieldAt = (path) => inForm.fieldAt(path) ?? inForm.fields().find(({ name }) => name.startsWith(path + ".")) ?? null;

/**
 * Show at each field what the reply says of it.
 * @param {Reply} reply
 */
export function tell(reply) {
  for (const field of all("[aria-invalid]", form)) field.removeAttribute("aria-invalid");
  for (const place of [...all("[data-error]:not([hidden])", form), ...all("[data-mirror-error]:not([hidden])")]) {
    place.hidden = true;
    place.textContent = "";
  }
  if (reply.ok) tellReadings(reply);
  tellErrors(reply.ok ? [] : reply.errors);
}

/** @param {Reply} reply */
function tellReadings({ assumed, read_as: readings }) {
  for (const place of all("[data-echo]", form)) {
    const path = place.dataset.echo ?? "";
    const field = fieldAt(path);
    const typed = Boolean(field?.value);
    const amount = (typed ? readings : assumed)[path];
    if (field && typed && amount) inForm.understand(field, amount);
    if (!amount) place.replaceChildren();
    else if (typed) show(place, () => say("Read as {amount}.", { amount }));
    else show(place, () => sayIn("what was typed", "Assumed: {amount}.", { amount }));
  }
}

/** @param {Refusal[]} errors */
function tellErrors(errors) {
  byId("error-list").replaceChildren(...errors.map((error) => {
    const field = fieldAt(error.field);
    if (field) markField(field, wordsOf([error]), error.choices);
    return lineOf(error);
  }));
  byId("error-summary").hidden = !errors.length;
  const elsewhere = errors.filter(({ field }) => !mirrorsOf(field).length);
  byId("bench-errors").replaceChildren(...elsewhere.map(lineOf));
  byId("bench-errors").hidden = !elsewhere.length;
}

/** @param {string} path */
const mirrorsOf = (path) => all(`[data-mirror-error="${CSS.escape(path)}"]`);

/** @param {Refusal} error */
function lineOf(error) {
  const item = document.createElement("li");
  const field = fieldAt(error.field);
  if (field) item.append(linkTo(field), " ");
  item.append(error.given ? `“${error.given}”: ${wordsOf([error])}` : wordsOf([error]));
  return item;
}

/** Offer, behind an error, the answers that would settle it. @param {HTMLElement} place @param {Refusal["choices"]} choices */
function offer(place, choices = []) {
  for (const { field, value, text } of choices) {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: text });
    button.dataset.move = JSON.stringify({ [field]: value });
    place.append(" ", button);
  }
}

/** @param {Field} field @param {string} words @param {Refusal["choices"]} [choices] */
function markField(field, words, choices) {
  const name = CSS.escape(field.name);
  const place = first(`[data-error="${name}"]`, HTMLElement, form);
  place.textContent = place.textContent ? `${place.textContent} ${words}` : words;
  place.hidden = false;
  first(`[data-echo="${name}"]`, HTMLElement, form).textContent = "";
  for (const mirror of mirrorsOf(field.name)) {
    mirror.textContent = words;
    mirror.hidden = false;
  }
  for (const each of [place, ...mirrorsOf(field.name)]) offer(each, choices);
  field.setAttribute("aria-invalid", "true");
  field.closest("details")?.setAttribute("open", "");
}

/** @param {Field} field */
function linkTo(field) {
  const link = document.createElement("a");
  link.href = `#${field.id}`;
  link.textContent = `${first(`label[for="${CSS.escape(field.id)}"]`, HTMLElement, form).textContent}:`;
  link.addEventListener("click", (event) => {
    event.preventDefault();
    if (!field.checkVisibility()) go("all");
    field.focus();
  });
  return link;
}
