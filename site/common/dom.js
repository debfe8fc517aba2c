// Finding and making elements of the page. Text from people only ever becomes text here; markup goes through markup.js.

import { partsOf } from "./markup.js";

/**
 * Return the element with this id. Throws a TypeError where the page has none of this kind.
 * @template {Element} [T=HTMLElement]
 * @param {string} id
 * @param {new () => T} [kind]
 * @returns {T}
 */
export function byId(id, kind) {
  return held(document.getElementById(id), kind, `#${id}`);
}

/**
 * Return the first element that a selector finds. Throws a TypeError where there is none of this kind.
 * @template {Element} [T=HTMLElement]
 * @param {string} selector
 * @param {new () => T} [kind]
 * @param {ParentNode} [root]
 * @returns {T}
 */
export function first(selector, kind, root = document) {
  return held(root.querySelector(selector), kind, selector);
}

/**
 * Return all HTML elements that a selector finds.
 * @param {string} selector
 * @param {ParentNode} [root]
 * @returns {HTMLElement[]}
 */
export function all(selector, root = document) {
  return [.../** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll(selector))];
}

/**
 * @template {Element} [T=HTMLElement]
 * @param {Element | null} element
 * @param {(new () => T) | undefined} kind
 * @param {string} name
 */
function held(element, kind, name) {
  if (!(element instanceof (kind ?? HTMLElement))) throw new TypeError(`the page has no such element: ${name}`);
  return /** @type {T} */ (element);
}

/**
 * Return the named fields of a form.
 * @param {HTMLFormElement} form
 */
export function fieldsIn(form) {
  return /** @type {import("../types").Field[]} */ ([...form.elements]).filter(({ name }) => name);
}

/**
 * Return a new element with a text and attributes.
 * @param {string} tag
 * @param {string} [words]
 * @param {Record<string, string>} [attributes]
 */
export function made(tag, words = "", attributes = {}) {
  const element = document.createElement(tag);
  element.textContent = words;
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

/**
 * Return a new button; `name` says of what, to those who cannot see where it stands.
 * @param {string} words
 * @param {() => void} act
 * @param {string} [name]
 */
export function button(words, act, name = "") {
  const element = made("button", words, { type: "button" });
  if (name) element.append(made("span", `: ${name}`, { class: "visually-hidden" }));
  element.addEventListener("click", act);
  return element;
}

/**
 * Put the engine's own markup in a place, in the language and direction of the page, leaving opened details open.
 * @param {Element} place
 * @param {string} markup
 */
export function putMarkup(place, markup) {
  const opened = [...place.querySelectorAll("details")].map((details) => details.open);
  place.replaceChildren(...partsOf(markup));
  const { lang, dir } = document.documentElement;
  Object.assign(place, { lang, dir });
  [...place.querySelectorAll("details")].forEach((details, at) => { details.open = opened[at] ?? false; });
}

/**
 * Do something before the next frame is drawn; at once where none is drawn, as in a hidden tab. Returns what
 * `cancelAnimationFrame` takes.
 * @param {() => void} act
 */
export function inNextFrame(act) {
  if (document.visibilityState !== "hidden") return requestAnimationFrame(act);
  act();
  return 0;
}

/**
 * Choose a value in a select; an unknown one is offered as well, so that it is shown and not silently changed.
 * @param {HTMLSelectElement} select
 * @param {string} value
 */
export function offerUnknown(select, value) {
  select.querySelector("[data-unknown]")?.remove();
  if (!value || [...select.options].some((option) => option.value === value)) return;
  const option = new Option(value, value);
  option.dataset.unknown = "";
  select.add(option);
}

/**
 * Call back with each file that is chosen in an input for files; the same one can be chosen again.
 * @param {string} id
 * @param {(file: File) => void | Promise<void>} open
 */
export function onFile(id, open) {
  const input = byId(id, HTMLInputElement);
  input.addEventListener("change", async () => {
    const file = input.files?.[0];
    if (file) await open(file);
    input.value = "";
  });
}

/**
 * Hand the person a file.
 * @param {string} name
 * @param {string} text
 * @param {string} type
 */
export function download(name, text, type) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}

/**
 * Show on a progress element how far something is; null while nothing is under way.
 * @param {HTMLProgressElement} bar
 * @param {import("../types").Progress | null} far
 */
export function showProgress(bar, far) {
  bar.classList.toggle("going", Boolean(far));
  bar.max = far?.total ?? 1;
  bar.value = far?.done ?? 0;
}
