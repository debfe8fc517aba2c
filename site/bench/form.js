// The form as a request and back. The name of a field is its path in the request; what stands in it is sent as typed.

import { all, byId, fieldsIn, first, offerUnknown } from "../common/dom.js";
import { follow } from "../common/words.js";

/** @typedef {import("../types").Request} Request */

const SCHEMA = 1;
const MOST_CANS = 20;
const form = byId("batch", HTMLFormElement);
const cans = byId("cans");
/** @type {object[] | null} */
let earlier = null; // earlier batches of this ash: not typed, but of the request all the same

/** Return the fields of the form that have a name. */
export const fields = () => fieldsIn(form);

/** Return the field of a name. @param {string} name */
export const fieldAt = (name) => /** @type {import("../types").Field | null} */ (form.elements.namedItem(name));

/** @param {string} name */
const stepsOf = (name) => {
  const steps = name.split(".");
  return { last: steps.pop() ?? "", steps };
};

/** Return how numbers are written where this browser is at home. */
export function localeAtHome() {
  const choice = byId("locale", HTMLSelectElement);
  const offered = [...choice.options].map(({ value }) => value);
  const [language] = navigator.language.split("-");
  return offered.find((value) => value === navigator.language)
    ?? offered.find((value) => value.startsWith(`${language}-`)) ?? choice.dataset.usual ?? "";
}

/** Whether gallons are US gallons here. */
export function isUs() {
  return (fieldAt("customs")?.value || (fieldAt("locale")?.value === "en-US" ? "us" : "")) === "us";
}

/** What was typed without a unit, and how the engine read it, by the name of the field. @type {Map<string, { typed: string, reading: string }>} */
const understood = new Map();

/** Note how the engine read what stands in a field. @param {import("../types").Field} field @param {string} reading */
export function understand(field, reading) {
  understood.set(field.name, { typed: field.value, reading });
  if (field !== document.activeElement && complete(field)) field.dispatchEvent(new Event("change", { bubbles: true }));
}

/** Write a number that stands alone as the engine read it, so that its unit can be seen and changed. @param {import("../types").Field} field */
export function complete(field) {
  const { typed, reading } = understood.get(field.name) ?? {};
  if (!reading || typed !== field.value || /\p{L}/u.test(typed)) return false;
  field.value = reading.replaceAll("\u00a0", " ");
  return true;
}

/** Return the request in the form; empty fields are left out. */
export function read() {
  /** @type {Request} */
  const request = { schema: SCHEMA };
  for (const field of fields()) {
    const { name, value } = field;
    if (!value.trim()) continue;
    const { steps, last } = stepsOf(name);
    let place = request;
    steps.forEach((step, depth) => {
      if (!Object.hasOwn(place, step)) place[step] = /^\d+$/.test(steps[depth + 1] ?? last) ? [] : {};
      place = place[step];
    });
    place[last] = value;
  }
  if (earlier) request.ash = { ...request.ash, earlier: structuredClone(earlier) };
  if (request.cans) request.cans = request.cans.filter(Boolean);
  return request;
}

/**
 * Return a request without the fields that a place does not ask for.
 * @param {string} place
 * @param {Request} request
 */
export function askedAt(place, request) {
  const asked = structuredClone(request);
  for (const field of fields()) {
    const within = /** @type {HTMLElement | null} */ (field.closest("[data-for]"));
    const places = within?.dataset.for?.split(" ") ?? [place];
    if (places.includes(place)) continue;
    const { steps, last } = stepsOf(field.name);
    const [root = ""] = steps;
    if (Array.isArray(asked[root])) delete asked[root];
    const above = steps.reduce((/** @type {any} */ part, step) => part?.[step], asked);
    if (above) delete above[last];
  }
  return withoutEmpty(asked);
}

/** @param {Request} part */
function withoutEmpty(part) {
  for (const [key, below] of Object.entries(part)) {
    if (typeof below !== "object" || below === null || Array.isArray(below)) continue;
    if (!Object.keys(withoutEmpty(below)).length) delete part[key];
  }
  return part;
}

/**
 * What stands at each path of a request: {"water.amount": "5 L"}.
 * @param {unknown} value
 * @param {string} [path]
 * @param {Record<string, string>} [found]
 */
function flat(value, path = "", found = {}) {
  if (typeof value === "object" && value !== null) {
    for (const [key, below] of Object.entries(value)) flat(below, path ? `${path}.${key}` : key, found);
  } else if (value !== null && value !== undefined) {
    found[path] = String(value);
  }
  return found;
}

/**
 * Return what a request says, field by field, in the words of the form.
 * @param {Request} request
 */
export function inWords(request) {
  const values = flat(request);
  return fields().filter(({ name }) => Object.hasOwn(values, name)).map((field) => {
    const value = values[field.name] ?? "";
    const chosen = field.querySelector(`option[value="${CSS.escape(value)}"]`)?.textContent;
    return `${field.labels?.[0]?.textContent ?? ""}: ${chosen ?? value}`;
  });
}

/**
 * Fill the form; returns the paths of what it has no field for.
 * @param {Request} request
 */
export function write(request) {
  const values = flat(request);
  delete values.schema;
  earlier = filledList(request.ash?.earlier);
  for (const path of Object.keys(values)) if (path.startsWith("ash.earlier.")) delete values[path];
  const rows = Math.min(filledList(request.cans)?.length ?? 1, MOST_CANS);
  cans.replaceChildren();
  for (let row = 0; row < rows; row++) addCan();
  for (const field of fields()) {
    fill(field, Object.hasOwn(values, field.name) ? values[field.name] ?? "" : "");
    delete values[field.name];
  }
  for (const details of form.querySelectorAll("details")) {
    if ([...details.querySelectorAll("input")].some((input) => input.value)) details.open = true;
  }
  return Object.keys(values);
}

/** @param {unknown} value @returns {object[] | null} */
const filledList = (value) => (Array.isArray(value) && value.length ? structuredClone(value) : null);

/** @param {import("../types").Field} field @param {string} value */
function fill(field, value) {
  if (field instanceof HTMLSelectElement) {
    offerUnknown(field, value); // an unknown choice is shown and refused by the engine
    field.value = value || (field.dataset.usual ?? "");
  } else field.value = value;
}

/** Add a row of cans, empty; returns its first field. */
export function addCan() {
  const template = byId("can-template", HTMLTemplateElement);
  const row = /** @type {HTMLElement} */ (template.content.firstElementChild?.cloneNode(true));
  cans.append(row);
  follow(row);
  renumber();
  return first("input", HTMLInputElement, row);
}

/** @param {Element} row */
export function removeCan(row) {
  row.remove();
  renumber();
}

function renumber() {
  [...cans.children].forEach((row, place) => {
    for (const element of all("*", row)) {
      for (const attribute of ["id", "name", "for", "aria-describedby", "data-error", "data-echo"]) {
        const text = element.getAttribute(attribute);
        if (text !== null) element.setAttribute(attribute, text.replaceAll(/cans\.\w+\./g, `cans.${place}.`));
      }
    }
  });
}
