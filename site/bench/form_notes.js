// What the engine says of the form: assumptions, readings and errors, each at its field.

import { all, byId, first } from "../common/dom.js";
import { say, show } from "../common/words.js";
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
  for (const place of all("[data-error]", form)) {
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
    else show(place, () => say("Taken: {amount}.", { amount }));
  }
}

/** @param {Refusal[]} errors */
function tellErrors(errors) {
  byId("error-list").replaceChildren(...errors.map(({ field: path, given, problem, accepted }) => {
    const item = document.createElement("li");
    const field = fieldAt(path);
    const words = say("{problem} Try {accepted}.", { problem, accepted });
    if (field) {
      markField(field, words);
      item.append(linkTo(field), " ");
    }
    item.append(given ? `“${given}”: ${words}` : words);
    return item;
  }));
  byId("error-summary").hidden = !errors.length;
}

/** @param {Field} field @param {string} words */
function markField(field, words) {
  const name = CSS.escape(field.name);
  const place = first(`[data-error="${name}"]`, HTMLElement, form);
  place.textContent = place.textContent ? `${place.textContent} ${words}` : words;
  place.hidden = false;
  first(`[data-echo="${name}"]`, HTMLElement, form).textContent = "";
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
    field.focus();
  });
  return link;
}
