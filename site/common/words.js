// The words of the page in the language chosen: messages looked up in the catalogues that the page carries.
//
//   feedcalcWords.say("Use by {day}.", { day })   the message in the chosen language, its places filled
//   feedcalcWords.show(element, message, parts)   say it in an element, again whenever another language is chosen
//   feedcalcWords.follow(root)                    let the static words below an element follow too (clones of templates)
//   feedcalcWords.use(tag)                        choose: "en", "es", "fr", "de", "pt", "hi"; kept; all of the page follows
//   feedcalcWords.language                        the tag chosen
//
// English stands in the page and the scripts and is the message. Only text that is word for word a message, and stood
// in the page before anybody typed, is ever replaced; what people typed, and what the engine said, is left alone.
// A "feedcalc-language" event on the document tells that another language was chosen.

"use strict";

const feedcalcWords = (() => {
  const KEPT = "feedcalc.language";
  const ATTRIBUTES = ["aria-label", "title", "alt"];
  const LEFT_ALONE = "script, style, pre, datalist, [data-part], [translate=no]";
  const LOCALES = { en: "en-GB", es: "es-ES", fr: "fr-FR", de: "de-DE", pt: "pt-PT", hi: "hi-IN" };
  const catalogues = JSON.parse(document.getElementById("page-words").textContent);
  const places = new Map(catalogues.messages.map((message, place) => [message, place]));
  const messages = new Set(catalogues.messages.slice(0, catalogues.static));
  const followers = []; // [node, attribute or null, message, blanks around it]
  const shown = new Map(); // element -> [message, parts, what was said]
  const chooser = document.getElementById("language");
  const plants = document.getElementById("plant-names");
  const plantsInEnglish = [...plants.options].map((option) => option.value);
  let language = "en";

  const known = (tag) => Object.hasOwn(LOCALES, tag);
  const translated = (message) => catalogues[language]?.[places.get(message)] || message;

  function say(message, parts = {}) {
    return translated(message).replaceAll(/\{(\w+)\}/g, (place, name) => (Object.hasOwn(parts, name) ? String(parts[name]) : place));
  }

  function show(element, message, parts = {}) {
    element.textContent = say(message, parts);
    shown.set(element, [message, parts, element.textContent]);
  }

  function follow(root) {
    const walker = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const node = walker.currentNode;
      const [, before, text, after] = /^(\s*)([^]*?)(\s*)$/.exec(node.data);
      const message = text.replaceAll(/\s+/g, " ");
      if (messages.has(message) && !node.parentElement?.closest(LEFT_ALONE)) followers.push([node, null, message, before, after]);
    }
    for (const attribute of ATTRIBUTES) {
      for (const element of [root, ...root.querySelectorAll("*")]) {
        if (!element.hasAttribute(attribute)) continue;
        const message = element.getAttribute(attribute);
        if (messages.has(message) && !element.closest(LEFT_ALONE)) followers.push([element, attribute, message, "", ""]);
      }
    }
    speak();
  }

  function speak() {
    for (const [node, attribute, message, before, after] of followers) {
      const words = before + translated(message) + after;
      if (attribute) node.setAttribute(attribute, words);
      else if (node.data !== words) node.data = words;
    }
    for (const [element, [message, parts, words]] of shown) {
      if (element.isConnected && element.textContent === words) show(element, message, parts);
      else shown.delete(element); // something else stands there by now
    }
  }

  function offerPlants() {
    plants.replaceChildren(...(catalogues.plants[language] ?? plantsInEnglish).map((name) => {
      const option = document.createElement("option");
      option.value = name;
      return option;
    }));
  }

  function use(tag) {
    const before = language;
    language = known(tag) ? tag : "en";
    document.documentElement.lang = LOCALES[language];
    chooser.value = language;
    speak();
    if (before === language) return;
    offerPlants();
    document.dispatchEvent(new CustomEvent("feedcalc-language", { detail: { before, language } }));
  }

  function keptOrGuessed() {
    try {
      const kept = localStorage.getItem(KEPT);
      if (known(kept)) return kept;
    } catch { /* a browser that keeps nothing */ }
    return navigator.languages.map((tag) => tag.slice(0, 2).toLowerCase()).find(known) ?? "en";
  }

  chooser.addEventListener("change", () => {
    try { localStorage.setItem(KEPT, chooser.value); } catch { /* chosen for this time only */ }
    const locale = document.getElementById("locale");
    const wasUsual = locale?.value === LOCALES[language];
    use(chooser.value);
    if (wasUsual) { // numbers go the way of the words, unless somebody chose them apart
      locale.value = LOCALES[language];
      locale.dispatchEvent(new Event("input", { bubbles: true }));
      locale.dispatchEvent(new Event("change", { bubbles: true }));
    }
  });

  follow(document.documentElement);
  for (const part of document.querySelectorAll("[data-part]")) part.lang = "en"; // the example, until the engine answers
  use(keptOrGuessed());
  const numbers = document.getElementById("locale"); // the example's; a batch that was kept brings its own
  if (numbers?.value === LOCALES.en) numbers.value = LOCALES[language];

  return { say, show, follow, use, get language() { return language; } };
})();
