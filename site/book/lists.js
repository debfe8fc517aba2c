// Lists of records, with what each was before and what can be done with it.

import { all, button, byId, made } from "../common/dom.js";
import { say, sayIn } from "../common/words.js";
import { write } from "../store/changes.js";
import { isThere, textIn } from "../store/shapes.js";
import { openForm } from "./forms.js";
import { choiceOf, dayOf, formOf, nameOf } from "./names.js";
import { tellUndoable } from "./telling.js";
import { isAbout, ofKind, shownRecords, view, withId } from "./view.js";

/** @typedef {import("../types").BookRecord} BookRecord */

/** List what is written about the bed that is shown, the metals, and what was removed. */
export function showWritten() {
  const { bed } = view;
  const own = [withId(bed), ...ofKind("soil test"), ...ofKind("entry")].filter((record) => record !== undefined && isAbout(bed, record));
  /** @param {BookRecord | undefined} record */
  const order = (record) => (record?.kind === "bed" ? "9999" : textIn(record, "date"));
  own.sort((one, other) => order(other).localeCompare(order(one)));
  byId("book-written").hidden = !own.length;
  list("book-written-list", /** @type {BookRecord[]} */ (own), [change, remove]);
  list("book-metals-written", ofKind("metals"), [change, remove]);
  const gone = shownRecords().filter((record) => !isThere(record));
  byId("book-removed").hidden = !gone.length;
  list("book-removed-list", gone, [putBack]);
}

/** @param {string} id @param {BookRecord[]} shown @param {((record: BookRecord) => HTMLElement)[]} actions */
function list(id, shown, actions) {
  const place = byId(id);
  const opened = new Set(all("li:has(details[open])", place).map(({ dataset }) => dataset.record));
  place.replaceChildren(...shown.map((record) => lineOf(record, actions, opened.has(record.id))));
}

/** @param {BookRecord} record @param {((record: BookRecord) => HTMLElement)[]} actions @param {boolean} isOpen */
function lineOf(record, actions, isOpen) {
  const item = made("li", "", { "data-record": record.id });
  item.append(made("p", nameOf(record)));
  const note = textIn(record, "note");
  if (note) item.append(made("p", note, { class: "hint" }));
  if (!view.example) {
    const buttons = made("div", "", { class: "buttons" });
    buttons.append(...actions.map((action) => action(record)));
    item.append(buttons);
  }
  const told = historyOf(record);
  if (told.length) {
    const details = /** @type {HTMLDetailsElement} */ (made("details"));
    details.open = isOpen;
    const lines = made("ul");
    lines.append(...told);
    details.append(made("summary", say("What it was before")), lines);
    item.append(details);
  }
  return item;
}

/** @param {BookRecord} record */
const change = (record) => button(sayIn("button", "Change"), () => openForm(record.kind, record), nameOf(record));

/** @param {BookRecord} record */
const remove = (record) => button(sayIn("button", "Remove"), async () => {
  await write(record.kind, record.id, { removed: "yes" });
  tellUndoable(() => say("Removed “{name}”. You find it under “Removed”.", { name: nameOf(record) }));
}, nameOf(record));

/** @param {BookRecord} record */
const putBack = (record) => button(sayIn("button", "Put back"), async () => {
  await write(record.kind, record.id, { removed: "" });
  tellUndoable(() => say("Put back “{name}”.", { name: nameOf(record) }));
}, nameOf(record));

/** Lines that tell what stood in each field before, the newest first. @param {BookRecord} record */
function historyOf(record) {
  const shown = record.history.filter(({ field }) => field !== "removed" && field !== "request");
  return shown.sort((one, other) => (one.at < other.at ? 1 : -1)).map((past) => lineOfPast(record, past));
}

/** @param {BookRecord} record @param {BookRecord["history"][number]} past */
function lineOfPast(record, { field, text, at }) {
  const { kind, id } = record;
  const label = formOf(kind)?.querySelector(`label[for$="-${CSS.escape(field)}"]`)?.textContent ?? field;
  const was = () => (text ? choiceOf(kind, field, text) : sayIn("a field before it was changed", "nothing"));
  const day = dayOf(changedAfter(record, field, at));
  const item = made("li", say("{label}: was “{was}”, changed {day}.", { label, was: was(), day }));
  if (!view.example && text !== textIn(record, field)) {
    item.append(" ", button(sayIn("button", "Use again"), async () => {
      await write(kind, id, { [field]: text });
      tellUndoable(() => say("“{was}” is back.", { was: was() }));
    }, `${label}, ${was()}`));
  }
  return item;
}

/** When a field was written next after a time. @param {BookRecord} record @param {string} field @param {string} at */
function changedAfter(record, field, at) {
  const versions = [...record.history.filter((past) => past.field === field), record.fields[field] ?? { at: "" }];
  return versions.map((version) => version.at).filter((moment) => moment > at).sort()[0] ?? at;
}
