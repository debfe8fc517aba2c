// What the engine says of the form: assumptions, readings and errors, each at its field.

import { all, byId, first } from "../common/dom.js";
import { go } from "../common/places.js";
import { say, sayIn, show } from "../common/words.js";
import { wordsOf } from "../store/changes.js";
import { fields } from "./form.js";

/** @typedef {import("../types").Reply} Reply */
/** @typedef {import("../types").Refusal} Refusal */
/** @typedef {import("../types").Field} Field */

const form = byId("batch", HTMLFormElement);

/** @param {string} path @returns {Field | null} */
function fieldAt(path) {
  const named = fields();
  return named.find(({ name }) => name === path) ?? named.find(({ name }) => name.startsWith(path + ".")) ?? null;
}

/**
 * Show at each field what the reply says of it.
 * @param {Reply} reply
 */
export function tell(reply) {
  for (const field of fields()) field.removeAttribute("aria-invalid");
  for (const place of [...all("[data-error]", form), ...all("[data-mirror-error]")]) {
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
    const typed = Boolean(fieldAt(path)?.value);
    const amount = (typed ? readings : assumed)[path];
    if (!amount) place.textContent = "";
    else if (typed) show(place, () => say("Read as {amount}.", { amount }));
    else show(place, () => sayIn("what was typed", "Taken: {amount}.", { amount }));
  }
}

/** @param {Refusal[]} errors */
function tellErrors(errors) {
  byId("error-list").replaceChildren(...errors.map((error) => {
    const field = fieldAt(error.field);
    if (field) markField(field, wordsOf([error]));
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

/** @param {Field} field @param {string} words */
function markField(field, words) {
  const name = CSS.escape(field.name);
  const place = first(`[data-error="${name}"]`, HTMLElement, form);
  place.textContent = place.textContent ? `${place.textContent} ${words}` : words;
  place.hidden = false;
  first(`[data-echo="${name}"]`, HTMLElement, form).textContent = "";
  for (const mirror of mirrorsOf(field.name)) {
    mirror.textContent = words;
    mirror.hidden = false;
  }
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
