// The batch on the page, into the book, with one question: which bed. A bed that is not there yet is made on the way.

import { today } from "../common/clock.js";
import { byId, first } from "../common/dom.js";
import { toast } from "../common/notices.js";
import { say, sayIn } from "../common/words.js";
import { undoStep, wordsOf, write } from "../store/changes.js";
import * as records from "../store/records.js";
import { entryOf } from "./forms.js";
import { beds, nameOf } from "./names.js";
import { chooseBed, refresh, view } from "./view.js";

/** @typedef {import("../types").Request} Request */

const NEW = "";
const dialog = byId("to-book", HTMLDialogElement);
const choice = byId("to-book-bed", HTMLSelectElement);
/** @param {string} id */
const textAt = (id) => byId(id, HTMLInputElement).value.trim();

function showNew() {
  byId("to-book-new").hidden = choice.value !== NEW;
}

/** @param {Request} request */
function open(request) {
  view.example = null; // it goes into the grower's own book
  const listed = beds();
  choice.replaceChildren(
    ...listed.map((bed) => new Option(nameOf(bed), bed.id)),
    new Option(say("A bed that is not in the book yet"), NEW),
  );
  choice.value = listed.some(({ id }) => id === view.bed) ? view.bed : listed[0]?.id ?? NEW;
  byId("to-book-choice").hidden = !listed.length;
  byId("to-book-name", HTMLInputElement).value = "";
  byId("to-book-area", HTMLInputElement).value = String(request.soil?.area ?? "").replace("^2", "²");
  byId("to-book-amount", HTMLInputElement).value = first(".lines").dataset.fed ?? "";
  byId("to-book-told").hidden = true;
  showNew();
  dialog.showModal();
  if (choice.value === NEW) byId("to-book-name").focus();
  else first('[type="submit"]', HTMLElement, dialog).focus();
}

/**
 * Write the bed where it is new, then the entry; returns what the engine would not take.
 * @param {{ name: string, request: Request }} batch
 */
async function writeBoth(batch) {
  const bed = choice.value || records.newId();
  if (choice.value === NEW) {
    const { plant = "", place = "", soil: { texture = "" } = {} } = batch.request;
    const refused = await write("bed", bed, { name: textAt("to-book-name"), area: textAt("to-book-area"), plant, place, texture });
    if (refused) return refused;
  }
  chooseBed(bed);
  return write("entry", records.newId(), { bed, date: today(), amount: textAt("to-book-amount"), ...entryOf(batch) });
}

/**
 * Start the way from the bench into the book.
 * @param {() => { name: string, request: Request }} batch what stands on the bench
 */
export function startToBook(batch) {
  for (const id of ["write-in-book", "step-book"]) byId(id).addEventListener("click", () => open(batch().request));
  choice.addEventListener("change", showNew);
  byId("to-book-no").addEventListener("click", () => dialog.close());
  byId("to-book-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const refused = await writeBoth(batch());
    const told = byId("to-book-told");
    told.hidden = !refused;
    told.textContent = refused ? wordsOf(refused) : "";
    if (refused) return;
    dialog.close();
    refresh();
    toast(() => say("Written in the book."), () => sayIn("button", "Undo"), async () => {
      await undoStep();
      refresh();
    });
  });
}
