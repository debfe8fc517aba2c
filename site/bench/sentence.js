// What I have, as a sentence: taps that set fields of the form, and show what the form holds.

import { all, byId, first } from "../common/dom.js";
import { allOf, onLanguage, sayIn, show } from "../common/words.js";
import { state } from "../store/state.js";
import * as form from "./form.js";
import { changed } from "./history.js";

const MOST_CANS = 20;
const OTHER = "other";
/** Sizes that cans are sold in, by what a gallon is: often done; no source found. */
const SIZES = {
  metric: ["1 L", "2 L", "5 L", "7 L", "9 L", "10 L", "12 L", "15 L"],
  us: ["1 qt", "0.5 gal", "1 gal", "2 gal", "2.5 gal", "3 gal", "5 gal"],
};
const size = byId("can-size", HTMLSelectElement);

const { fieldAt } = form;
/** @param {string} name */
const valueAt = (name) => fieldAt(name)?.value.trim() ?? "";

/**
 * Set fields of the form as if they had been typed, in one step that can be undone.
 * @param {Record<string, string>} values by the name of the field
 */
export function set(values) {
  for (const [name, value] of Object.entries(values)) {
    const field = fieldAt(name);
    if (field) field.value = value;
  }
  changed();
}

function sizes() {
  return form.isUs() ? SIZES.us : SIZES.metric;
}

/** Show in the sentence what stands in the form. */
export function tell() {
  tellCans();
  for (const pick of /** @type {HTMLInputElement[]} */ (all("[data-picks]"))) {
    const field = fieldAt(pick.dataset.picks ?? "");
    pick.checked = pick.value === (field?.value || field?.dataset.usual);
  }
  for (const mirror of /** @type {HTMLInputElement[]} */ (all("[data-mirrors]"))) {
    if (mirror !== document.activeElement) mirror.value = valueAt(mirror.dataset.mirrors ?? "");
  }
}

function tellCans() {
  const rows = all("#cans .can");
  const assumed = valueAt("cans.0.count") ? "" : fieldAt("cans.0.size")?.getAttribute("placeholder") ?? "";
  const held = valueAt("cans.0.size") || assumed;
  const offered = held && !sizes().includes(held) ? [held, ...sizes()] : sizes();
  offer(offered);
  size.value = held;
  const count = valueAt("cans.0.count") || "1";
  if (byId("can-count").textContent !== count) byId("can-count").textContent = count;
  const more = rows.slice(1).map((_, place) => `${valueAt(`cans.${place + 1}.count`) || "1"} × ${valueAt(`cans.${place + 1}.size`)}`);
  byId("more-cans").hidden = !more.length;
  show(byId("more-cans"), () => sayIn("size of a can", "and {cans}", { cans: allOf(more) }));
}

/** List sizes to choose from, where they are not listed already. @param {string[]} sizesOffered */
function offer(sizesOffered) {
  const wanted = [...sizesOffered.map((text) => [text, text]), [sayIn("size of a can", "another size"), OTHER]];
  if (String(wanted) === String([...size.options].map(({ text, value }) => [text, value]))) return;
  size.replaceChildren(...wanted.map(([text, value]) => new Option(text, value)));
}

/** @param {number} by */
function step(by) {
  const count = Math.round(Number(valueAt("cans.0.count") || 1)) + by;
  const held = valueAt("cans.0.size") || size.value;
  if (count >= 1 && count <= MOST_CANS) set({ "cans.0.size": held, "cans.0.count": String(count) });
}

// ---- One field, asked for on the spot ---------------------------------------------------------------------

const quick = byId("quick-input", HTMLInputElement);

/** Ask for one field of the form beside the answer. @param {string} name */
export function askFor(name) {
  const label = first(`label[for="${CSS.escape(name)}"]`);
  quick.dataset.mirrors = name;
  quick.value = valueAt(name);
  quick.placeholder = fieldAt(name)?.getAttribute("placeholder") ?? "";
  show(byId("quick-label"), () => label.textContent ?? "");
  byId("quick-told").dataset.mirrorError = name;
  byId("quick-field").hidden = false;
  quick.focus();
}

/**
 * Do what a button beside an answer says: set fields, or ask for the first that has no value yet.
 * @param {string} fields as JSON
 */
function move(fields) {
  const values = JSON.parse(fields);
  const [open] = Object.entries(values).find(([, value]) => !value) ?? [];
  if (open) askFor(open);
  else set(values);
}

/** Start the sentence, and every field that mirrors one of the form. */
export function startSentence() {
  for (const button of all("[data-steps]")) button.addEventListener("click", () => step(Number(button.dataset.steps)));
  size.addEventListener("change", () => {
    if (size.value !== OTHER) set({ "cans.0.size": size.value, ...(!valueAt("cans.0.count") && { "cans.0.count": "1" }) });
    else askFor("cans.0.size");
  });
  byId("ask").addEventListener("change", ({ target }) => {
    const { dataset, value } = /** @type {HTMLInputElement} */ (target);
    if (dataset.picks) set({ [dataset.picks]: value });
  });
  document.addEventListener("input", ({ target }) => {
    const { dataset, value } = /** @type {HTMLInputElement} */ (target);
    const field = dataset.mirrors && fieldAt(dataset.mirrors);
    if (!field) return;
    field.value = value;
    changed(field.name);
  });
  document.addEventListener("change", ({ target }) => {
    const mirror = /** @type {HTMLInputElement} */ (target);
    const field = mirror.dataset.mirrors && fieldAt(mirror.dataset.mirrors);
    if (field) {
      form.complete(field);
      mirror.value = field.value;
    }
    if (state.batch) tell(); // a number may have got its unit
  });
  document.addEventListener("click", ({ target }) => {
    const button = /** @type {HTMLElement | null} */ (/** @type {Element} */ (target).closest("[data-move]"));
    if (button) move(button.dataset.move ?? "{}");
  });
  byId("i-measured").addEventListener("click", () => {
    const { hidden } = byId("reading");
    byId("reading").hidden = !hidden;
    byId("i-measured").setAttribute("aria-expanded", String(hidden));
    if (!hidden) return;
    byId("reading").scrollIntoView({ block: "center", behavior: "instant" }); // a key would end a smooth one half way
    byId("read-ec").focus({ preventScroll: true });
  });
  onLanguage(() => { if (state.batch) tell(); });
}
