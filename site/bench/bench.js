// The bench: the form, the batches and the sheets that follow them, put together. Nothing typed is lost.

import { localMoment } from "../common/clock.js";
import { all, byId, onFile } from "../common/dom.js";
import { onLanguage } from "../common/words.js";
import { restart } from "../engine/client.js";
import { followers, state, theBatch } from "../store/state.js";
import { forgetAnswers, keepAnswer, recalculate, showBatchName, showLast } from "./answers.js";
import * as ashes from "./ash_choice.js";
import { beginBatch, deleteBatch, duplicate, followChanges, openBatches, turnToChosen } from "./batch_choice.js";
import { copyLink, openFile, takeLink, tellUnreadable } from "./exchange.js";
import * as form from "./form.js";
import { changed, redo, takeAsh, undo } from "./history.js";
import { exportAll, flush, keep, listBatches, tellKept } from "./keeping.js";
import * as labels from "./label_choice.js";
import { startSentence, tell as tellSentence } from "./sentence.js";
import { record, showStep, startSteps } from "./steps.js";
import { wakeEngine } from "./waking.js";

/** @param {string} id @param {() => void} act */
const onClick = (id, act) => byId(id).addEventListener("click", act);
/** @param {string} selector @param {Event} event */
const clicked = (selector, { target }) => /** @type {HTMLElement | null} */ (/** @type {Element} */ (target).closest(selector));

function bindForm() {
  const whole = byId("batch", HTMLFormElement);
  whole.addEventListener("submit", (event) => event.preventDefault());
  whole.addEventListener("input", ({ target }) => {
    const field = /** @type {import("../types").Field} */ (target);
    changed(field instanceof HTMLSelectElement ? null : field.name);
  });
  whole.addEventListener("change", ({ target }) => {
    state.typing = null;
    form.complete(/** @type {import("../types").Field} */ (target));
  });
  onClick("add-can", () => form.addCan().focus());
  byId("cans").addEventListener("click", (event) => {
    const row = clicked("[data-remove-can]", event)?.closest(".can");
    if (!row) return;
    form.removeCan(row);
    byId("add-can").focus();
    changed();
  });
  whole.addEventListener("click", (event) => {
    const button = clicked("[data-now]", event);
    if (!button) return;
    byId(button.dataset.now ?? "", HTMLInputElement).value = localMoment();
    changed();
  });
}

function bindBatches() {
  byId("answer").addEventListener("change", ({ target }) => {
    if (target instanceof HTMLElement && target.dataset.step) record(target.dataset.step);
  });
  for (const each of all("[data-click]")) each.addEventListener("click", () => byId(each.dataset.click ?? "").click());
  onClick("undo", undo);
  onClick("redo", redo);
  byId("batch-name").addEventListener("input", ({ target }) => {
    theBatch().name = /** @type {HTMLInputElement} */ (target).value;
    showBatchName();
    keep();
    listBatches();
  });
  const choice = byId("batch-choice", HTMLSelectElement);
  choice.addEventListener("change", () => turnToChosen(choice.value));
  onClick("new-batch", beginBatch);
  onClick("duplicate-batch", duplicate);
  onClick("delete-batch", deleteBatch);
  onClick("export", exportAll);
  onFile("import-file", openFile);
  onClick("copy-link", copyLink);
  byId("copy-link").hidden = location.protocol === "file:"; // such an address leads nowhere on another machine
  window.addEventListener("hashchange", takeLink);
}

function bindPrinting() {
  const html = document.documentElement;
  onClick("print", () => window.print());
  onClick("print-dry", () => window.print());
  byId("print-label").hidden = false;
  onClick("print-label", () => {
    html.dataset.print = "label";
    window.print();
  });
  window.addEventListener("afterprint", () => { delete html.dataset.print; });
}

/** The page is left, perhaps for good. */
function putDown() {
  flush();
  keepAnswer();
}

/** Start the bench. The places must have been started, so that it is known which sheet is shown. */
export function startBench() {
  bindForm();
  bindBatches();
  bindPrinting();
  onClick("try-again", () => {
    restart();
    recalculate();
  });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") putDown(); });
  window.addEventListener("pagehide", putDown);
  onLanguage(() => {
    if (state.batch) {
      tellKept(state.stored);
      listBatches();
    }
    forgetAnswers();
  });
  startSentence();
  startSteps();
  followers.request.push(tellSentence);
  followers.answer.push(showStep);
  followChanges();
  ashes.start({ request: () => form.askedAt("batch", state.batch?.request ?? {}), use: takeAsh });
  openBatches();
  tellUnreadable();
  takeLink();
  showLast();
  labels.start();
  wakeEngine();
}
