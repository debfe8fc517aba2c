// What the page says of itself: a short notice with one action, and words for those who listen to the page.

import { byId, made } from "./dom.js";
import { show } from "./words.js";

/** @typedef {import("./words.js").Words} Words */

const SILENCE = 700; // milliseconds; what is typed shall have come to rest before something is said
let timer = 0;
/** @type {(() => void) | null} */
let action = null;

/**
 * Say something to those who listen, once what is typed has come to rest.
 * @param {Words} words
 */
export function announce(words) {
  clearTimeout(timer);
  timer = setTimeout(() => { if (byId("said").textContent !== words()) show(byId("said"), words); }, SILENCE);
}

/**
 * Show a notice; with what can be done about it where there is something.
 * @param {Words} words
 * @param {Words | null} [name]
 * @param {(() => void) | null} [act]
 */
export function toast(words, name = null, act = null) {
  show(byId("toast-words"), words);
  show(byId("toast-action"), name ?? (() => ""));
  byId("toast-action").hidden = !name;
  action = act;
  byId("toast").hidden = false;
  announce(words);
}

/** A mark beside a statement opens its source, and shuts it again. @param {HTMLElement} mark */
function toggleSource(mark) {
  const isOpen = mark.getAttribute("aria-expanded") === "true";
  if (isOpen) mark.nextElementSibling?.remove();
  else mark.after(made("small", mark.dataset.source, { class: "cited" }));
  mark.setAttribute("aria-expanded", String(!isOpen));
}

export function startNotices() {
  document.addEventListener("click", ({ target }) => {
    const mark = /** @type {HTMLElement | null} */ (/** @type {Element} */ (target).closest(".source"));
    if (mark) toggleSource(mark);
  });
  byId("toast-action").addEventListener("click", () => {
    byId("toast").hidden = true;
    action?.();
  });
  byId("toast-close").addEventListener("click", () => { byId("toast").hidden = true; });
}
