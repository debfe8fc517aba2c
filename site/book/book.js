// The season book on the page: what each bed had, written down, shown, undone, saved and merged.
// No arithmetic, no reading of amounts, no merging: those are the engine's.

import { today } from "../common/clock.js";
import { all, button, byId, first, made, onFile } from "../common/dom.js";
import { go } from "../common/places.js";
import { keep, kept } from "../common/storage.js";
import { onLanguage, say } from "../common/words.js";
import { startChanges, steps, workOff } from "../store/changes.js";
import { journal } from "../store/journal.js";
import * as records from "../store/records.js";
import { openFile, saveBook, saveReminders, saveTable, saveUnreadable } from "./files.js";
import { addBatch, backToTyping, fillBatches, giveUp, openForm, save, showDrafts, takeBatch, typed } from "./forms.js";
import { showWritten } from "./lists.js";
import { beds, forms, nameOf } from "./names.js";
import { lookAgain } from "./season.js";
import { startSharing } from "./share.js";
import { redo, startTelling, undo } from "./telling.js";
import { chooseBed, drawWith, refresh, view } from "./view.js";

/** @typedef {import("../types").BookRecord} BookRecord */
/** @typedef {import("../types").RecordKind} RecordKind */

const COUNTRY = "feedcalc.book.country";
const html = document.documentElement;
/** @type {Record<string, import("../common/words.js").Words>} */
const STATES = {
  "": () => say("Saved in this browser. A file is safer."),
  refused: () => say("This browser refuses to keep the book. What you write is only in this window, with a small copy beside it: save it to a file."),
  newer: () => say("A newer feedcalc wrote this browser's book. Reload the page. Until then, save what you write to a file."),
  full: () => say("This browser's storage is full. The last changes are only in this window: save the book to a file."),
};

// ---- Showing ----------------------------------------------------------------------------------------------

/** Everything that can be shown without the engine; then the engine is asked for the rest. */
function draw() {
  const listed = beds();
  const { example } = view;
  chooseBed(listed.some(({ id }) => id === view.bed) ? view.bed : listed[0]?.id ?? "");
  showBeds(listed);
  byId("book-empty").hidden = Boolean(listed.length);
  byId("book-example").hidden = !example;
  byId("book-show-example").hidden = Boolean(example || listed.length);
  byId("book-doing").hidden = Boolean(example);
  for (const each of all("#book [data-write]")) {
    each.hidden = Boolean(example) || (!listed.length && !["bed", "metals"].includes(each.dataset.write ?? ""));
  }
  first('[data-write="bed"]').classList.toggle("main", !listed.length);
  byId("book-undo", HTMLButtonElement).disabled = !steps.past.length;
  byId("book-redo", HTMLButtonElement).disabled = !steps.future.length;
  showWritten();
  showDrafts();
  showState();
  lookAgain(0);
}

/** @param {BookRecord[]} listed */
function showBeds(listed) {
  byId("book-beds").hidden = !listed.length;
  byId("book-bed-list").replaceChildren(...listed.map((bed) => {
    const item = made("li");
    const choose = button(nameOf(bed), () => turnTo(bed.id));
    choose.dataset.bed = bed.id;
    if (bed.id === view.bed) choose.setAttribute("aria-current", "true");
    item.append(choose);
    return item;
  }));
}

/** @param {string} id */
function turnTo(id) {
  chooseBed(id);
  refresh();
  all(`[data-bed="${CSS.escape(id)}"]`)[0]?.focus();
}

function showState() {
  const { place, why } = records.state();
  const isKept = place === "browser";
  const line = byId("book-kept");
  line.classList.toggle("warning", !isKept);
  line.replaceChildren((STATES[isKept ? "" : why] ?? STATES.refused)?.() ?? "");
  if (!isKept) line.append(" ", button(say("Save the book to a file"), saveBook));
  if (journal().length && html.dataset.engine !== "ready") {
    line.append(" ", say("What you wrote last is kept. It goes into the book once the calculator has loaded."));
  }
  showTroubles();
}

function showTroubles() {
  const troubles = byId("book-troubles");
  const deadly = records.deadly().map((each) => made("p", say("The calculator stops when it works on “{name}” in the book. The sums leave it out. The book and its file keep it.", { name: nameOf(each) })));
  troubles.hidden = !records.broken().length && !deadly.length;
  troubles.replaceChildren(...deadly);
  if (!records.broken().length) return;
  troubles.append(
    made("p", say("Something in this browser's book can't be read any more. It was left as it is, and everything else is shown. If you have a file of the book, open it to repair this.")),
    button(say("Save what can't be read"), saveUnreadable),
  );
}

/** @param {BookRecord[] | null} example */
function lookAtExample(example) {
  view.example = example;
  refresh();
}

// ---- Start ------------------------------------------------------------------------------------------------

/** @param {string} id @param {() => void} act */
const onClick = (id, act) => byId(id).addEventListener("click", act);

function bindForms() {
  for (const form of forms) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      save();
    });
    form.addEventListener("input", ({ target }) => { if (/** @type {HTMLInputElement} */ (target).name) typed(); });
    first("[data-give-up]", HTMLElement, form).addEventListener("click", giveUp);
  }
  for (const each of all("#book [data-write]")) {
    each.addEventListener("click", () => openForm(/** @type {RecordKind} */ (each.dataset.write)));
  }
  for (const each of all("[data-today]")) {
    each.addEventListener("click", () => {
      byId(each.dataset.today ?? "", HTMLInputElement).value = today();
      typed();
    });
  }
  const choice = byId("entry-batch-choice", HTMLSelectElement);
  choice.addEventListener("change", () => takeBatch(choice.value));
}

function bindButtons() {
  onClick("book-undo", undo);
  onClick("book-redo", redo);
  onClick("book-show-example", () => lookAtExample(JSON.parse(byId("book-example-data").textContent ?? "").records));
  onClick("book-example-end", () => lookAtExample(null));
  onClick("book-save", saveBook);
  onClick("book-save-csv", saveTable);
  onClick("book-calendar", saveReminders);
  onClick("book-print", () => window.print());
  onFile("book-open", openFile);
}

function bindCountry() {
  const country = byId("book-country", HTMLSelectElement);
  country.value = kept(COUNTRY) ?? "";
  if (country.selectedIndex < 0) country.selectedIndex = 0;
  country.addEventListener("change", () => {
    keep(COUNTRY, country.value); // where it is refused it is chosen anew next time
    lookAgain(0);
  });
}

/**
 * Start the book.
 * @param {{ batch: () => { name: string, request: import("../types").Request } }} page what stands on the bench
 */
export async function startBook({ batch }) {
  drawWith(draw);
  startTelling();
  startChanges({
    onAsked: showState,
    onChanged: refresh,
    onRefused: (change, errors) => backToTyping(change, change.fields, errors),
  });
  bindForms();
  bindButtons();
  bindCountry();
  startSharing();
  byId("batch-to-book").hidden = false;
  onClick("batch-to-book", () => {
    view.example = null;
    go("book");
    refresh();
    addBatch(batch());
  });
  records.watch(refresh);
  await records.open();
  refresh();
  const wake = async () => {
    if (html.dataset.engine !== "ready") return;
    await workOff();
    refresh();
  };
  new MutationObserver(wake).observe(html, { attributes: true, attributeFilter: ["data-engine"] });
  new MutationObserver(refresh).observe(html, { attributes: true, attributeFilter: ["data-place"] });
  onLanguage(() => {
    fillBatches();
    refresh();
  });
  await wake();
}
