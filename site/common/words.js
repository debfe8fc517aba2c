// The words of the page in the language chosen: messages looked up in the catalogues that the page carries.
//
// Rules: English stands in the page and the modules and is the message. What a module shows it gives as a function, so
// that it can be said anew in another language. Of the page's own text only what is word for word a message, and stood
// there before anybody typed, is replaced; what people typed, and what the engine said, is left alone.

/** @typedef {() => string} Words a text in the language chosen, asked for whenever that is another */

const KEY = "feedcalc.language";
const ATTRIBUTES = ["aria-label", "title", "alt"];
const LEFT_ALONE = "script, style, pre, datalist, [data-part], [translate=no]";
/** @type {Record<string, string>} */
const LOCALES = { en: "en-GB", es: "es-ES", fr: "fr-FR", de: "de-DE", pt: "pt-PT", hi: "hi-IN" };

/** @typedef {{ words: string[], plants: string[] }} Catalogue */
/** @type {Map<string, Catalogue>} */
const catalogues = new Map(); // by the tag of the language, each read when it is first chosen
/** @type {Map<string, number>} */
let places = new Map();
/** @type {Set<string>} */
let staticMessages = new Set();
/** @type {{ node: Text | Element, attribute: string, message: string, before: string, after: string }[]} */
const followers = [];
/** @type {Map<Element, { words: Words, said: string }>} */
const shown = new Map();
/** @type {(() => void)[]} */
const listeners = [];
/** @type {string[]} */
let plantsInEnglish = [];
let chosen = "en";

/** Return the tag of the language chosen: "en", "es", "fr", "de", "pt" or "hi". */
export const language = () => chosen;

/** @param {unknown} tag */
const isKnown = (tag) => typeof tag === "string" && Object.hasOwn(LOCALES, tag);

/** @param {string} id */
const dataIn = (id) => JSON.parse(document.getElementById(id)?.textContent ?? "");

/** @param {string} tag @returns {Catalogue | undefined} none for English, which is what the page is written in */
function catalogueOf(tag) {
  if (tag !== "en" && !catalogues.has(tag)) catalogues.set(tag, dataIn(`words-${tag}`));
  return catalogues.get(tag);
}

/** @param {string} message */
function translated(message) {
  const place = places.get(message);
  return (place !== undefined && catalogueOf(chosen)?.words[place]) || message;
}

/**
 * Return a message in the language chosen, its places such as {day} filled with the parts of that name.
 * @param {string} message
 * @param {Record<string, unknown>} [parts]
 */
export function say(message, parts = {}) {
  return translated(message).replaceAll(/\{(\w+)\}/g, (/** @type {string} */ place, /** @type {string} */ name) => (
    Object.hasOwn(parts, name) ? String(parts[name]) : place));
}

/**
 * Put words into an element, and again in each other language, as long as nothing else was put there.
 * @param {Element} element
 * @param {Words} words
 */
export function show(element, words) {
  const said = words();
  if (element.textContent !== said) element.textContent = said;
  shown.set(element, { words, said });
}

/**
 * Call back whenever another language was chosen.
 * @param {() => void} listener
 */
export function onLanguage(listener) {
  listeners.push(listener);
}

/**
 * Let the static words below an element follow the language too; for clones of templates.
 * @param {Element} root
 */
export function follow(root) {
  followTexts(root);
  for (const attribute of ATTRIBUTES) {
    for (const element of [root, ...root.querySelectorAll("*")]) {
      const message = element.getAttribute(attribute);
      if (message === null || !staticMessages.has(message) || element.closest(LEFT_ALONE)) continue;
      followers.push({ node: element, attribute, message, before: "", after: "" });
    }
  }
  speak();
}

/** @param {Element} root */
function followTexts(root) {
  const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = /** @type {Text} */ (walker.currentNode);
    const [, before = "", text = "", after = ""] = /^(\s*)([^]*?)(\s*)$/.exec(node.data) ?? [];
    const message = text.replaceAll(/\s+/g, " ");
    if (!staticMessages.has(message) || node.parentElement?.closest(LEFT_ALONE)) continue;
    followers.push({ node, attribute: "", message, before, after });
  }
}

function speak() {
  for (const { node, attribute, message, before, after } of followers) {
    const words = before + translated(message) + after;
    if (node instanceof Element) node.setAttribute(attribute, words);
    else if (node.data !== words) node.data = words;
  }
  for (const [element, { words, said }] of shown) {
    if (element.isConnected && element.textContent === said) show(element, words);
    else shown.delete(element); // something else stands there by now
  }
}

function offerPlants() {
  const names = catalogueOf(chosen)?.plants ?? plantsInEnglish;
  plantList().replaceChildren(...names.map((name) => {
    const option = document.createElement("option");
    option.value = name;
    return option;
  }));
}

const plantList = () => /** @type {HTMLDataListElement} */ (document.getElementById("plant-names"));
const chooser = () => /** @type {HTMLSelectElement} */ (document.getElementById("language"));
/** How numbers are written; the example's, until a batch that was kept brings its own. */
const numbers = () => /** @type {HTMLSelectElement | null} */ (document.getElementById("locale"));

/**
 * Choose a language; all of the page follows.
 * @param {string} tag
 */
export function use(tag) {
  const before = chosen;
  chosen = isKnown(tag) ? tag : "en";
  document.documentElement.lang = LOCALES[chosen] ?? "";
  chooser().value = chosen;
  speak();
  if (before === chosen) return;
  offerPlants();
  for (const listener of listeners) listener();
}

function keptOrGuessed() {
  try {
    const kept = localStorage.getItem(KEY);
    if (kept !== null && isKnown(kept)) return kept;
  } catch { /* a browser that keeps nothing */ }
  return navigator.languages.map((tag) => tag.slice(0, 2).toLowerCase()).find(isKnown) ?? "en";
}

function chosenByHand() {
  try {
    localStorage.setItem(KEY, chooser().value);
  } catch { /* chosen for this time only */ }
  const locale = numbers();
  const wasUsual = locale?.value === LOCALES[chosen];
  use(chooser().value);
  if (!locale || !wasUsual) return; // numbers go the way of the words, unless somebody chose them apart
  locale.value = LOCALES[chosen] ?? "";
  locale.dispatchEvent(new Event("input", { bubbles: true }));
  locale.dispatchEvent(new Event("change", { bubbles: true }));
}

/** Read the catalogues of the page and say everything in the language kept or guessed. */
export function startWords() {
  /** @type {{ messages: string[], static: number }} */
  const { messages, static: count } = dataIn("page-words");
  places = new Map(messages.map((message, place) => [message, place]));
  staticMessages = new Set(messages.slice(0, count));
  plantsInEnglish = [...plantList().options].map((option) => option.value);
  chooser().addEventListener("change", chosenByHand);
  follow(document.documentElement);
  // The example is in English until the engine answers.
  for (const part of document.querySelectorAll("[data-part]")) /** @type {HTMLElement} */ (part).lang = "en";
  use(keptOrGuessed());
  const locale = numbers();
  if (locale && locale.value === LOCALES.en) locale.value = LOCALES[chosen] ?? "";
}
