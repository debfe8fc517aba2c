// The places of the page: the batch, dry ash, the season book. One is shown; the address says which, so that Back
// leads to the one before and a link can lead to any of them.
//
// Rules: what belongs to places names them in data-in; the parts of the form that belong to some only, in data-for. A
// link to a place carries data-place. Each place keeps how far it was scrolled.

import { all, first } from "./dom.js";
import { keep, kept, ofThisTab } from "./storage.js";
import { onLanguage } from "./words.js";

const KEY = "feedcalc.place";
const FIRST = "batch";
const TITLE = document.title;
const links = /** @type {HTMLAnchorElement[]} */ (all(".places [data-place]"));
/** @type {Record<string, number>} */
const scrolled = {};
let shown = FIRST;
/** @type {(place: string) => void} */
let changed = () => {};

/** Return the place that is shown: "batch", "dry" or "book". */
export const current = () => shown;

/** @param {string | null} place */
const linkTo = (place) => links.find(({ dataset }) => dataset.place === place);
/** @param {string} place */
const hashOf = (place) => linkTo(place)?.hash ?? "";
/** @param {string | undefined} names @param {string} place */
const isAmong = (names, place) => names?.split(" ").includes(place) ?? false;

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

/** @param {string} place */
function show(place) {
  shown = place;
  document.documentElement.dataset.place = place;
  for (const part of all("[data-in]")) part.hidden = !isAmong(part.dataset.in, place);
  for (const part of all("#batch [data-for]")) part.hidden = !isAmong(part.dataset.for, place);
  for (const link of links) link.toggleAttribute("aria-current", false);
  first(`.places [data-place="${place}"]`).setAttribute("aria-current", "page");
  nameDocument();
  keep(KEY, place, ofThisTab); // where it is refused, a reload without # leads to the first place
}

function nameDocument() {
  document.title = shown === FIRST ? TITLE : `${linkTo(shown)?.textContent} – ${TITLE}`;
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
  if (target) target.scrollIntoView({ behavior: "instant" });
  else scrollBack(place);
  changed(place);
}

/**
 * Show the place the address asks for, else the last one; then call back after every change.
 * @param {(place: string) => void} onChange
 */
export function startPlaces(onChange) {
  const asked = location.hash ? placeAt(location.hash) : kept(KEY, ofThisTab);
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
  onLanguage(nameDocument);
}
