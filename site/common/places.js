// The places of the page: the batch, dry ash, the season book. One is shown; the address says which, so that Back
// leads to the one before and a link can lead to any of them.
//
//   feedcalcPlaces.start(onChange)   show the place the address asks for, else the last one; then onChange(place) after
//                                    every change
//   feedcalcPlaces.current()         "batch" | "dry" | "book"
//   feedcalcPlaces.go(place)
//
// What belongs to places names them in data-in; the parts of the form that belong to some only, in data-for. A link to
// a place carries data-place. Each place keeps how far it was scrolled.

"use strict";

const feedcalcPlaces = (() => {
  const KEY = "feedcalc.place";
  const FIRST = "batch";
  const TITLE = document.title;
  const links = [...document.querySelectorAll(".places [data-place]")];
  const linkTo = (place) => links.find(({ dataset }) => dataset.place === place);
  const scrolled = {};
  let current = FIRST;
  let changed = () => {};

  /** The place that the part of an address after # leads to, or null where it leads to none. */
  function placeAt(hash) {
    const link = links.find((each) => each.hash === hash);
    if (link) return link.dataset.place;
    let target = null;
    try {
      target = document.getElementById(decodeURIComponent(hash.slice(1)));
    } catch { /* not an address that we made */ }
    const among = target?.closest("[data-in]")?.dataset.in.split(" ") ?? [];
    return among.includes(current) ? current : among[0] ?? null;
  }

  function show(place) {
    current = place;
    document.documentElement.dataset.place = place;
    for (const part of document.querySelectorAll("[data-in]")) part.hidden = !part.dataset.in.split(" ").includes(place);
    for (const part of document.querySelectorAll("#batch [data-for]")) part.hidden = !part.dataset.for.split(" ").includes(place);
    for (const link of links) link.toggleAttribute("aria-current", false);
    linkTo(place).setAttribute("aria-current", "page");
    nameDocument();
    try {
      sessionStorage.setItem(KEY, place);
    } catch { /* then a reload without # leads to the first place */ }
  }

  function nameDocument() {
    document.title = current === FIRST ? TITLE : `${linkTo(current).textContent} – ${TITLE}`;
  }

  function go(place) {
    if (place === current) return;
    scrolled[current] = window.scrollY;
    history.pushState(null, "", linkTo(place).hash);
    show(place);
    window.scrollTo({ top: scrolled[place] ?? 0, behavior: "instant" });
    changed(place);
  }

  /** The address changed: by Back, by a link within the page, by hand. */
  function follow() {
    const place = location.hash ? placeAt(location.hash) : FIRST;
    if (!place || place === current) return;
    show(place);
    const target = links.some(({ hash }) => hash === location.hash) ? null : document.getElementById(location.hash.slice(1));
    if (target) target.scrollIntoView({ behavior: "instant" });
    else window.scrollTo({ top: scrolled[place] ?? 0, behavior: "instant" });
    changed(place);
  }

  function start(onChange) {
    let wanted = location.hash ? placeAt(location.hash) : null;
    try {
      wanted ??= location.hash ? null : sessionStorage.getItem(KEY);
    } catch { /* refused */ }
    if (!linkTo(wanted)) wanted = FIRST;
    if (!location.hash && wanted !== FIRST) history.replaceState(null, "", linkTo(wanted).hash);
    show(wanted);
    changed = onChange;
    for (const link of links) {
      link.addEventListener("click", (event) => {
        if (event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
        event.preventDefault();
        go(link.dataset.place);
      });
    }
    window.addEventListener("popstate", follow);
    document.addEventListener("feedcalc-language", nameDocument);
  }

  return { start, current: () => current, go };
})();
