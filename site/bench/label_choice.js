// The print of labels and of the sheet for the wall: what is wished goes to the engine, its drawings come into the
// preview and onto paper. Lays nothing out.
//
//   feedcalcLabels.start({ current, all })  current() the batch on the page, all() every batch, as keeping.js has them
//   feedcalcLabels.refresh()                the batch was worked out anew: ask again, if this part is open
//
// Nothing is asked while this part is closed, and never on the line of the sheet, so that typing waits for nothing.
// The wishes are kept in this browser under one key; they belong to the printer and not to the batch.

"use strict";

const feedcalcLabels = (() => {
  const KEY = "feedcalc.print";
  const PAUSE = 300; // milliseconds from the last key to the question
  const byId = (id) => document.getElementById(id);
  const root = document.documentElement;
  let batches = { current: () => null, all: () => [] };
  let part = null;
  let pages = []; // sizes of what is shown, in mm
  let added = 0; // rules that belong to the print under way
  let timer = 0;
  let asked = 0;
  const wishes = () => [...part.querySelectorAll("[data-wish]")];
  const wish = (name) => part.querySelector(`[data-wish="${name}"]`).value.trim();

  function start(given) {
    batches = given;
    part = byId("label-choice");
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
    document.addEventListener("feedcalc-language", refresh);
    window.addEventListener("afterprint", tidy);
  }

  function recall() {
    let kept = {};
    try {
      kept = JSON.parse(localStorage.getItem(KEY)) ?? {};
    } catch { /* nothing kept, or refused */ }
    const home = navigator.language === "en-US" ? { paper: "Letter", wall: "Letter" } : {};
    for (const field of wishes()) {
      const value = kept[field.dataset.wish] ?? home[field.dataset.wish];
      if (typeof value !== "string") continue;
      if (field.tagName !== "SELECT" || [...field.options].some((option) => option.value === value)) field.value = value;
    }
  }

  function remember() {
    try {
      localStorage.setItem(KEY, JSON.stringify(Object.fromEntries(wishes().map((field) => [field.dataset.wish, field.value]))));
    } catch { /* then they are typed again next time */ }
  }

  function showWhatBelongs() {
    for (const group of part.querySelectorAll("[data-for]")) group.hidden = !group.dataset.for.split(" ").includes(wish("what"));
    for (const group of part.querySelectorAll("[data-for-code]")) group.hidden = group.dataset.forCode !== wish("code");
  }

  function refresh() {
    if (part?.open) soon(0);
  }

  function soon(pause = PAUSE) {
    clearTimeout(timer);
    timer = setTimeout(ask, pause);
  }

  /** What is wished of the paper, as the engine reads it; empty fields are left out. */
  function question() {
    const current = batches.current();
    const whole = wish("whose") === "all";
    const { locale } = current.request;
    const { language } = feedcalcWords;
    const source = whole
      ? { batches: { format: "feedcalc batches", version: 1, batches: batches.all().map(({ name, request }) => ({ name, request })) } }
      : current.request;
    const name = whole ? {} : { name: current.name };
    const told = { schema: 1, ...(locale && { locale }), ...source, language };
    if (wish("what") === "wall") return { ...told, ask: "wall", wall: { size: wish("wall"), ...name } };
    const address = { none: "", here: location.href.replace(/#.*$/, ""), own: wish("address") }[wish("code")];
    const names = wish("what") === "sheet" ? ["grid", "paper", "margin", "gap", "start", "cut_marks", "copies"] : ["size", "copies"];
    const label = Object.fromEntries([...names.map((each) => [each, wish(each)]), ["address", address]].filter(([, value]) => value));
    if (wish("what") === "sheet") label.grid ??= "2 x 2";
    return { ...told, ask: "label", label: { ...label, ...name } };
  }

  async function ask() {
    if (!part.open || !batches.current()) return;
    const mine = ++asked;
    byId("paper-preview").setAttribute("aria-busy", "true");
    try {
      const reply = await feedcalcEngine.ask(question(), { line: "print" });
      if (mine === asked) show(reply);
    } catch (error) {
      if (mine === asked && error.name !== "Superseded") byId("label-told").textContent = error.message;
    }
  }

  function show(reply) {
    for (const place of part.querySelectorAll("[data-error]")) {
      place.hidden = true;
      place.textContent = "";
      byId(place.dataset.error)?.removeAttribute("aria-invalid");
    }
    const preview = byId("paper-preview");
    preview.setAttribute("aria-busy", "false");
    byId("print-paper").disabled = !reply.ok;
    if (!reply.ok) {
      preview.replaceChildren();
      pages = [];
      byId("label-told").textContent = reply.errors.map(tell).filter(Boolean).join(" ");
      return;
    }
    pages = reply.print.pages;
    byId("label-told").textContent = reply.warnings.join(" ");
    const drawings = feedcalcMarkup.partsOf(Object.values(reply.html)[0]).filter(({ nodeType }) => nodeType === Node.ELEMENT_NODE);
    preview.replaceChildren(...drawings.map((drawing, place) => {
      const page = document.createElement("div");
      page.className = "paper-page";
      page.dataset.page = String(place);
      page.append(drawing);
      return page;
    }));
    const widest = Math.max(...pages.map(({ width }) => width));
    [...preview.children].forEach((page, place) => { page.style.width = `${(pages[place].width / widest) * 100}%`; });
    preview.style.maxWidth = `${widest}mm`;
  }

  /** Put an error beside its field; what has no field here is told above the preview. */
  function tell({ field, problem, accepted }) {
    const words = feedcalcWords.say("{problem} Try {accepted}.", { problem, accepted });
    const name = field === "wall.size" ? "label.wall" : field;
    const place = part.querySelector(`[data-error="${CSS.escape(name)}"]`);
    if (!place || place.closest("[hidden]:not([data-error])")) return words;
    place.textContent = words;
    place.hidden = false;
    byId(name).setAttribute("aria-invalid", "true");
    return "";
  }

  /** Print the preview alone, each page on paper of its own size. */
  function print() {
    tidy();
    const whole = document.createElement("div");
    whole.id = "paper-print";
    whole.append(...[...byId("paper-preview").children].map((page) => page.cloneNode(true)));
    document.body.append(whole);
    const sizes = new Map(); // of each size the pages that have it
    pages.forEach(({ width, height }, place) => {
      const size = `${width}mm ${height}mm`;
      sizes.set(size, [...(sizes.get(size) ?? []), `#paper-print [data-page="${place}"]`]);
    });
    [...sizes].forEach(([size, places], at) => {
      rule(`@page paper${at} { size: ${size}; margin: 0; }`);
      rule(`${places.join(", ")} { page: paper${at}; }`);
    });
    root.dataset.print = "paper";
    window.print();
  }

  /** Rules may be added to a style sheet that the page's policy knows, but not a style sheet to the page. */
  function rule(text) {
    const sheet = document.styleSheets[document.styleSheets.length - 1];
    sheet.insertRule(text, sheet.cssRules.length);
    added += 1;
  }

  function tidy() {
    if (root.dataset.print === "paper") delete root.dataset.print;
    byId("paper-print")?.remove();
    const sheet = document.styleSheets[document.styleSheets.length - 1];
    for (; added; added -= 1) sheet.deleteRule(sheet.cssRules.length - 1);
  }

  return { start, refresh };
})();
