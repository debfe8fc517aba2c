// The words of the page in the language chosen: messages looked up in the catalogues that the page carries.
//
// Rules: English stands in the page and the modules and is the message. What a module shows it gives as a function, so
// that it can be said anew in another language. Of the page's own text only what is word for word a message, and stood
// there before anybody typed, is replaced; what people typed, and what the engine said, is left alone.

/** @typedef {() => string} Words a text in the language chosen, asked for whenever that is another */

const KEY = "feedcalc.language";
const APART = "\u0004"; // between a context and its message, as in gettext's own files
const ATTRIBUTES = ["aria-label", "title", "alt", "placeholder"];
const LEFT_ALONE = "script, style, pre, datalist, [data-part], [translate=no]";
// What a short text is, by the element that it stands in; building/words.py has the same.
const CONTEXTS = { BUTTON: "button", A: "button", LABEL: "field" };
const STANDING_IN = "option, button, a, label, legend, summary, h1, h2, h3, h4, h5, h6";

/** @typedef {string | string[]} Translation forms where the words depend on a number */
/** @typedef {{ words: Translation[], plants: string[], forms: Record<string, number> }} Catalogue */
/** @type {Record<string, string>} */
let locales = {}; // tag of each language to its locale
/** @type {string[]} */
let rightToLeft = [];
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

/** Return the tag of the language chosen, such as "en". */
export const language = () => chosen;

/** @param {string} tag */
const localeOf = (tag) => locales[tag] ?? "";

/** @param {unknown} tag */
const isKnown = (tag) => typeof tag === "string" && Object.hasOwn(locales, tag);

/** @param {string} id */
const dataIn = (id) => JSON.parse(document.getElementById(id)?.textContent ?? "");

/** @param {string} tag @returns {Catalogue | undefined} none for English, which is what the page is written in */
function catalogueOf(tag) {
  if (tag !== "en" && !catalogues.has(tag)) catalogues.set(tag, dataIn(`words-${tag}`));
  return catalogues.get(tag);
}

/** @param {string} key a message, after its context where it has one */
function found(key) {
  const place = places.get(key);
  return place === undefined ? "" : catalogueOf(chosen)?.words[place] ?? "";
}

/** @param {string} key */
const translated = (key) => String(found(key) || key.slice(key.indexOf(APART) + 1));

/**
 * From right to left each value, and each ratio such as 1:{parts}, is isolated: it keeps its own order.
 * @param {string} words
 * @param {Record<string, unknown>} parts
 */
function filled(words, parts) {
  const apart = (/** @type {unknown} */ text) => (rightToLeft.includes(chosen) ? `\u2068${text}\u2069` : String(text));
  return words.replaceAll(/\d+(?:[:-]\{\w+\})+/g, apart)
    .replaceAll(/\{(\w+)\}/g, (/** @type {string} */ place, /** @type {string} */ name) => (
      Object.hasOwn(parts, name) ? apart(parts[name]) : place));
}

/**
 * Return a message in the language chosen, its places such as {day} filled with the parts of that name.
 * @param {string} message
 * @param {Record<string, unknown>} [parts]
 */
export const say = (message, parts = {}) => filled(translated(message), parts);

/**
 * Return the same of one or two words; the context tells translators what they mean.
 * @param {string} context
 * @param {string} message
 * @param {Record<string, unknown>} [parts]
 */
export const sayIn = (context, message, parts = {}) => filled(translated(context + APART + message), parts);

/**
 * Return the same in the form that goes with a number, which fills the place {count}.
 * @param {number} count
 * @param {string} one
 * @param {string} many
 * @param {Record<string, unknown>} [parts]
 */
export function sayOf(count, one, many, parts = {}) {
  const forms = found(one);
  const category = new Intl.PluralRules(localeOf(chosen)).select(count);
  const form = Array.isArray(forms) && forms[catalogueOf(chosen)?.forms[category] ?? forms.length - 1];
  return filled(form || (count === 1 ? one : many), { count, ...parts });
}

/** Return texts as a list in the language chosen, the last after "and". @param {string[]} texts */
export const allOf = (texts) => new Intl.ListFormat(localeOf(chosen) || "en-GB").format(texts);

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
  gather(root);
  speak();
}

/** @param {Element} root */
function gather(root) {
  followTexts(root);
  for (const attribute of ATTRIBUTES) {
    for (const element of [root, ...root.querySelectorAll(`[${attribute}]`)]) {
      const message = keyOf(() => (attribute === "placeholder" ? "example in a field" : "read aloud"), element.getAttribute(attribute) ?? "");
      if (!staticMessages.has(message) || element.closest(LEFT_ALONE)) continue;
      followers.push({ node: element, attribute, message, before: "", after: "" });
    }
  }
}

/**
 * Return the key of a static text: one or two words come after their context.
 * @param {() => string} context
 * @param {string} text
 */
function keyOf(context, text) {
  const words = text.match(/\p{L}+(?:['’-]\p{L}+)*/gu) ?? [];
  return words.length <= 2 ? context() + APART + text : text;
}

/** @param {Text} node */
function contextOf(node) {
  const element = node.parentElement?.closest(STANDING_IN);
  if (!element) return "page";
  const select = element.closest("select");
  if (element.tagName === "OPTION") return `choice: ${select?.name || select?.id || ""}`;
  return CONTEXTS[/** @type {keyof typeof CONTEXTS} */ (element.tagName)] ?? "heading";
}

/** @param {Element} root */
function followTexts(root) {
  if (root.closest(LEFT_ALONE)) return;
  // What is left alone is not even looked into: catalogues and licences are longer than all the rest.
  const walker = document.createTreeWalker(root, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT, (node) => (
    node instanceof Element && node.matches(LEFT_ALONE) ? NodeFilter.FILTER_REJECT : NodeFilter.FILTER_ACCEPT));
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const text = node instanceof Text ? node.data.trim() : "";
    if (!text || !(node instanceof Text)) continue;
    const message = keyOf(() => contextOf(node), text.replaceAll(/\s+/g, " "));
    if (!staticMessages.has(message)) continue;
    const [before = "", after = ""] = node.data.split(text);
    followers.push({ node, attribute: "", message, before, after });
  }
}

function speak() {
  for (const { node, attribute, message, before, after } of followers) {
    const words = before + translated(message) + after;
    if (node instanceof Element) {
      if (node.getAttribute(attribute) !== words) node.setAttribute(attribute, words);
    } else if (node.data !== words) node.data = words;
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
  document.documentElement.lang = localeOf(chosen);
  document.documentElement.dir = rightToLeft.includes(chosen) ? "rtl" : "ltr";
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
  const wasUsual = locale?.value === localeOf(chosen);
  use(chooser().value);
  if (!locale || !wasUsual) return; // numbers go the way of the words, unless somebody chose them apart
  locale.value = localeOf(chosen);
  locale.dispatchEvent(new Event("input", { bubbles: true }));
  locale.dispatchEvent(new Event("change", { bubbles: true }));
}

/** Read the catalogues of the page and say everything in the language kept or guessed. */
export function startWords() {
  /** @type {{ messages: string[], static: number, locales: Record<string, string>, rtl: string[] }} */
  const { messages, static: count, ...about } = dataIn("page-words");
  ({ locales, rtl: rightToLeft } = about);
  places = new Map(messages.map((message, place) => [message, place]));
  staticMessages = new Set(messages.slice(0, count));
  plantsInEnglish = [...plantList().options].map((option) => option.value);
  chooser().addEventListener("change", chosenByHand);
  gather(document.documentElement);
  // The example is in English until the engine answers.
  for (const part of document.querySelectorAll("[data-part]")) Object.assign(part, { lang: "en", dir: "ltr" });
  use(keptOrGuessed());
  const locale = numbers();
  if (locale && locale.value === localeOf("en")) locale.value = localeOf(chosen);
}
