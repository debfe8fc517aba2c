// The places of the page: the feed, dry ash, the book; and of the feed the steps one at a time, and all there is to say
// and to read; a recipe to be judged. One is shown; the address says which, so that Back leads to the one before and a link to any of them.
//
// Rules: what belongs to places names them in data-in; the parts of the form that belong to some only, in data-for. A
// link to a place carries data-place. Each place keeps how far it was scrolled. A wide screen shows all of the feed.

import { all, byId, first } from "./dom.js";
import { keep, kept, ofThisTab } from "./storage.js";
import { onLanguage } from "./words.js";

const KEY = "feedcalc.place";
const FIRST = "batch";
const TITLE = document.title;
const links = /** @type {HTMLAnchorElement[]} */ (all("a[data-place]"));
const tabs = links.filter((link) => link.closest(".places"));
const wide = window.matchMedia("(min-width: 62rem)");
/** @type {Record<string, number>} */
const scrolled = {};
let shown = FIRST;
/** @type {(place: string) => void} */
let changed = () => {};

/** Return the place that is shown: "batch", "steps", "all", "dry", "recipe" or "book". */
export const current = () => shown;

/**
 * Return the sheet that a place shows: "batch", "dry" or "book".
 * @param {string} [place]
 */
export const sheetAt = (place = shown) => (["steps", "all", "recipe"].includes(place) ? "batch" : place);

/** @param {string | null} place */
const linkTo = (place) => links.find(({ dataset }) => dataset.place === place);
/** @param {string} place */
const hashOf = (place) => linkTo(place)?.hash ?? "";
/** @param {string | undefined} names @param {string} place */
const isAmong = (names, place) => names?.split(" ").some((name) => name === place || (name === "all" && place === "batch" && wide.matches)) ?? false;

/**
 * The place that the part of an address after # leads to, or null where it leads to none.
 * @param {string} hash
 */
function placeAt(hash) {
  const link = links.find((each) => each.hash === hash);
  if (link) return link.dataset.place ?? null;
  const within = /** @type {HTMLElement | null | undefined} */ (targetOf(hash)?.closest("[data-in]"));
  const among = within?.dataset.in?.split(" ") ?? [];
  return among.includes(shown) ? shown : among[0] ?? null;
}

/** @param {string} hash */
function targetOf(hash) {
  try {
    return document.getElementById(decodeURIComponent(hash.slice(1)));
  } catch { // not an address that we made
    return null;
  }
}

function closeMenu() {
  byId("menu", HTMLDetailsElement).open = false;
}

/** @param {string} place */
function show(place) {
  shown = place;
  document.documentElement.dataset.place = place;
  for (const part of all("[data-in]")) part.hidden = !isAmong(part.dataset.in, place);
  for (const part of all("#batch [data-for]")) part.hidden = !isAmong(part.dataset.for, sheetAt(place));
  for (const tab of tabs) tab.toggleAttribute("aria-current", false);
  first(`.places [data-place="${sheetAt(place)}"]`).setAttribute("aria-current", "page");
  closeMenu();
  nameDocument();
  // Where both are refused, a reload without # leads to the first place.
  if (keep(KEY, place, ofThisTab)) keep(KEY, place);
}

function nameDocument() {
  const tab = tabs.find(({ dataset }) => dataset.place === shown);
  document.title = tab && shown !== FIRST ? `${tab.textContent} – ${TITLE}` : TITLE;
}

/** @param {string} place */
function scrollBack(place) {
  window.scrollTo({ top: scrolled[place] ?? 0, behavior: "instant" });
}

/**
 * Show a place, and give it an address to come back to.
 * @param {string} place
 */
export function go(place) {
  closeMenu(); // also where the place is shown already
  if (place === shown) return;
  scrolled[shown] = window.scrollY;
  history.pushState(null, "", hashOf(place));
  show(place);
  scrollBack(place);
  changed(place);
}

/** The address changed: by Back, by a link within the page, by hand. */
function followAddress() {
  const place = location.hash ? placeAt(location.hash) : FIRST;
  if (!place || place === shown) return;
  show(place);
  const target = links.some(({ hash }) => hash === location.hash) ? null : document.getElementById(location.hash.slice(1));
  if (target instanceof HTMLDetailsElement) target.open = true;
  if (target) target.scrollIntoView({ behavior: "instant" });
  else scrollBack(place);
  changed(place);
}

/**
 * Show the place the address asks for, else the last one; then call back after every change.
 * @param {(place: string) => void} onChange
 */
export function startPlaces(onChange) {
  const asked = location.hash ? placeAt(location.hash) : kept(KEY, ofThisTab) ?? kept(KEY);
  const wanted = asked !== null && linkTo(asked) ? asked : FIRST;
  if (!location.hash && wanted !== FIRST) history.replaceState(null, "", hashOf(wanted));
  show(wanted);
  changed = onChange;
  for (const link of links) {
    link.addEventListener("click", (event) => {
      if (event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
      event.preventDefault();
      go(link.dataset.place ?? FIRST);
    });
  }
  window.addEventListener("popstate", followAddress);
  wide.addEventListener("change", () => show(shown));
  onLanguage(nameDocument);
}
