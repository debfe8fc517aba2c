// The print of labels and of the sheet for the wall: what is wished goes to the engine, its drawings come into the
// preview and onto paper. Lays nothing out.
//
// Rules: nothing is asked while this part is closed, and never on the line of the sheet, so that typing waits for
// nothing. The wishes are kept in this browser under one key; they belong to the printer and not to the batch.

import { all, byId, first } from "../common/dom.js";
import { partsOf } from "../common/markup.js";
import { keep, kept } from "../common/storage.js";
import { language, onLanguage, say, show as showWords } from "../common/words.js";
import { ask as askEngine } from "../engine/client.js";
import { state, theBatch } from "../store/state.js";

/** @typedef {import("../types").Reply} Reply */
/** @typedef {import("../types").Request} Request */

const KEY = "feedcalc.print";
const PAUSE = 300; // milliseconds from the last key to the question
const root = document.documentElement;
const part = byId("label-choice", HTMLDetailsElement);
/** @type {{ width: number, height: number }[]} */
let pages = []; // sizes of what is shown, in mm
let added = 0; // rules that belong to the print under way
let timer = 0;
let asked = 0;

const wishes = () => /** @type {import("../types").Field[]} */ (/** @type {unknown} */ (all("[data-wish]", part)));
/** @param {string} name */
const wish = (name) => /** @type {HTMLInputElement} */ (first(`[data-wish="${name}"]`, HTMLElement, part)).value.trim();

export function start() {
  part.hidden = false;
  recall();
  showWhatBelongs();
  part.addEventListener("toggle", refresh);
  part.addEventListener("input", () => {
    showWhatBelongs();
    remember();
    soon();
  });
  byId("print-paper").addEventListener("click", print);
  onLanguage(refresh);
  window.addEventListener("afterprint", tidy);
}

function recall() {
  const wished = wishesKept();
  /** @type {Record<string, unknown>} */
  const home = navigator.language === "en-US" ? { paper: "Letter", wall: "Letter" } : {};
  for (const field of wishes()) {
    const name = field.dataset.wish ?? "";
    const value = wished[name] ?? home[name];
    if (typeof value !== "string") continue;
    if (!(field instanceof HTMLSelectElement) || [...field.options].some((option) => option.value === value)) field.value = value;
  }
}

/** @returns {Record<string, unknown>} */
function wishesKept() {
  try {
    return JSON.parse(kept(KEY) ?? "{}") ?? {};
  } catch { // spoilt
    return {};
  }
}

function remember() { // where that is refused they are typed again next time
  keep(KEY, JSON.stringify(Object.fromEntries(wishes().map((field) => [field.dataset.wish, field.value]))));
}

function showWhatBelongs() {
  for (const group of all("[data-for]", part)) group.hidden = !group.dataset.for?.split(" ").includes(wish("what"));
  for (const group of all("[data-for-code]", part)) group.hidden = group.dataset.forCode !== wish("code");
}

/** The batch was worked out anew: ask again, if this part is open. */
export function refresh() {
  if (part.open) soon(0);
}

function soon(pause = PAUSE) {
  clearTimeout(timer);
  timer = setTimeout(ask, pause);
}

/**
 * What is wished of the paper, as the engine reads it; empty fields are left out.
 * @returns {Request}
 */
function question() {
  const current = theBatch();
  const whole = wish("whose") === "all";
  const { locale } = current.request;
  const source = whole
    ? { batches: { format: "feedcalc batches", version: 1, batches: state.batches.map(({ name, request }) => ({ name, request })) } }
    : current.request;
  const name = whole ? {} : { name: current.name };
  const told = { schema: 1, ...(locale && { locale }), ...source, language: language() };
  if (wish("what") === "wall") return { ...told, ask: "wall", wall: { size: wish("wall"), ...name } };
  return { ...told, ask: "label", label: { ...labelWished(), ...name } };
}

function labelWished() {
  /** @type {Record<string, string>} */
  const addresses = { none: "", here: location.href.replace(/#.*$/, ""), own: wish("address") };
  const isSheet = wish("what") === "sheet";
  const names = isSheet ? ["of", "grid", "paper", "margin", "gap", "start", "cut_marks", "copies"] : ["of", "size", "copies"];
  const wished = [...names.map((each) => [each, wish(each)]), ["address", addresses[wish("code")]]];
  return { ...(isSheet && { grid: "2 x 2" }), ...Object.fromEntries(wished.filter(([, value]) => value)) };
}

async function ask() {
  if (!part.open || !state.batch) return;
  const mine = ++asked;
  byId("paper-preview").setAttribute("aria-busy", "true");
  try {
    const reply = await askEngine(question(), { line: "print" });
    if (mine === asked) show(reply);
  } catch (error) {
    const { name, message } = /** @type {Error} */ (error);
    if (mine === asked && name !== "Superseded") byId("label-told").textContent = message;
  }
}

/** @param {Reply} reply */
function show(reply) {
  for (const place of all("[data-error]", part)) {
    place.hidden = true;
    place.textContent = "";
    document.getElementById(place.dataset.error ?? "")?.removeAttribute("aria-invalid");
  }
  byId("paper-preview").setAttribute("aria-busy", "false");
  byId("print-paper", HTMLButtonElement).disabled = !reply.ok;
  if (!reply.ok) {
    byId("paper-preview").replaceChildren();
    pages = [];
    const left = reply.errors.filter((error) => !tellAtField(error));
    showWords(byId("label-told"), () => left.map(wordsOf).join(" "));
    return;
  }
  pages = reply.print.pages;
  byId("label-told").textContent = reply.warnings.join(" ");
  showPages(Object.values(reply.html)[0] ?? "");
}

/** @param {string} markup a drawing for each page */
function showPages(markup) {
  const preview = byId("paper-preview");
  const widest = Math.max(...pages.map(({ width }) => width));
  const drawings = partsOf(markup).filter(({ nodeType }) => nodeType === Node.ELEMENT_NODE);
  preview.replaceChildren(...drawings.map((drawing, place) => {
    const page = document.createElement("div");
    page.className = "paper-page";
    page.dataset.page = String(place);
    page.style.width = `${((pages[place]?.width ?? widest) / widest) * 100}%`;
    page.append(drawing);
    return page;
  }));
  preview.style.maxWidth = `${widest}mm`;
}

/** @param {import("../types").Refusal} error */
const wordsOf = ({ problem, accepted }) => say("{problem} Try {accepted}.", { problem, accepted });

/**
 * Put an error beside its field; returns whether it has one here that can be seen.
 * @param {import("../types").Refusal} error
 */
function tellAtField(error) {
  const name = error.field === "wall.size" ? "label.wall" : error.field;
  const place = /** @type {HTMLElement | null} */ (part.querySelector(`[data-error="${CSS.escape(name)}"]`));
  if (!place || place.closest("[hidden]:not([data-error])")) return false;
  showWords(place, () => wordsOf(error));
  place.hidden = false;
  byId(name).setAttribute("aria-invalid", "true");
  return true;
}

/** Print the preview alone, each page on paper of its own size. */
function print() {
  tidy();
  const whole = document.createElement("div");
  whole.id = "paper-print";
  whole.append(...[...byId("paper-preview").children].map((page) => page.cloneNode(true)));
  document.body.append(whole);
  /** @type {Map<string, string[]>} */
  const sizes = new Map(); // of each size the pages that have it
  pages.forEach(({ width, height }, place) => {
    const size = `${width}mm ${height}mm`;
    sizes.set(size, [...(sizes.get(size) ?? []), `#paper-print [data-page="${place}"]`]);
  });
  [...sizes].forEach(([size, places], at) => {
    addRule(`@page paper${at} { size: ${size}; margin: 0; }`);
    addRule(`${places.join(", ")} { page: paper${at}; }`);
  });
  root.dataset.print = "paper";
  window.print();
}

const lastSheet = () => [...document.styleSheets].at(-1);

/**
 * Rules may be added to a style sheet that the page's policy knows, but not a style sheet to the page.
 * @param {string} text
 */
function addRule(text) {
  const sheet = lastSheet();
  sheet?.insertRule(text, sheet.cssRules.length);
  added += 1;
}

function tidy() {
  if (root.dataset.print === "paper") delete root.dataset.print;
  document.getElementById("paper-print")?.remove();
  const sheet = lastSheet();
  for (; sheet && added; added -= 1) sheet.deleteRule(sheet.cssRules.length - 1);
}
