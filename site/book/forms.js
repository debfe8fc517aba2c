// The forms of the book: opened, typed into, saved, given up. What is being typed is kept as a draft at every key.

import { today } from "../common/clock.js";
import { button, byId, fieldsIn, first, made } from "../common/dom.js";
import { say, sayIn } from "../common/words.js";
import { open as openBatches } from "../store/batches.js";
import { wordsOf, write } from "../store/changes.js";
import * as journal from "../store/journal.js";
import { newId } from "../store/records.js";
import { isObject, textIn } from "../store/shapes.js";
import { fieldsOf, setValue, showWhatApplies, tellErrors } from "./fields.js";
import { byName, fieldOf, formOf, nameOf } from "./names.js";
import { lookAgain } from "./season.js";
import { tell, tellNothing, tellUndoable } from "./telling.js";
import { chooseBed, ofKind, refresh, view, withId } from "./view.js";

/**
 * @typedef {import("../types").BookRecord} BookRecord
 * @typedef {import("../types").RecordKind} RecordKind
 * @typedef {import("../types").Refusal} Refusal
 * @typedef {Record<string, string>} Texts
 */

// ---- Opening ----------------------------------------------------------------------------------------------

/**
 * Open the form of a kind, for a new record or to change one; what was begun before stands in it.
 * @param {RecordKind} kind
 * @param {BookRecord | null} [record]
 * @param {Texts} [start] texts that it begins with
 * @param {string} [key] of its draft
 */
export function openForm(kind, record = null, start = {}, key = record ? `${kind} ${record.id}` : kind) {
  closeForm();
  const form = formOf(kind);
  if (!form) throw new Error(`the page has no form for this: ${kind}`);
  const draft = journal.draft(key);
  fillChoices(form, record);
  const id = record?.id ?? idIn(draft);
  const extra = { request: textIn(record, "request"), batch: textIn(record, "batch") };
  const editing = { form, kind, key, was: record, id, extra, saving: false };
  view.editing = editing;
  fillFields(editing, start, isObject(draft?.fields) ? draft.fields : {});
  fillBatches();
  showWhatApplies(editing);
  for (const details of form.querySelectorAll("details")) details.open = [...details.querySelectorAll("input")].some(({ value }) => value);
  tellErrors([]);
  reveal(editing);
  return editing;
}

/** The record that a draft makes, or a new one. @param {import("../types").Draft | null} draft */
const idIn = (draft) => (typeof draft?.id === "string" ? draft.id : newId());

/** @param {import("./view.js").Editing} editing @param {Texts} start @param {Record<string, unknown>} drafted */
function fillFields({ form, was, extra }, start, drafted) {
  /** @type {Texts} */
  const usual = { bed: view.bed, date: was ? "" : today(), ...start };
  for (const input of fieldsIn(form)) {
    const value = drafted[input.name] ?? start[input.name] ?? (was ? textIn(was, input.name) : usual[input.name]);
    setValue(input, typeof value === "string" ? value : "");
  }
  for (const name of /** @type {const} */ (["request", "batch"])) {
    const value = start[name] ?? drafted[name];
    if (typeof value === "string") extra[name] = value;
  }
}

/** @param {import("./view.js").Editing} editing */
function reveal({ form, kind, was }) {
  const heading = first("h3", HTMLElement, form);
  first("[data-new]", HTMLElement, heading).hidden = Boolean(was);
  first("[data-again]", HTMLElement, heading).hidden = !was;
  byId("book-what-if").replaceChildren();
  form.hidden = false;
  byId("book-drafts").hidden = true;
  byId("book").dataset.writing = kind;
  tellNothing();
  heading.focus();
  heading.scrollIntoView({ block: "start" });
  lookAgain(0);
}

export function closeForm() {
  if (!view.editing) return;
  view.editing.form.hidden = true;
  view.editing = null;
  delete byId("book").dataset.writing;
}

/** @param {HTMLFormElement} form @param {BookRecord | null} record */
function fillChoices(form, record) {
  for (const name of /** @type {const} */ (["bed", "ash"])) {
    const select = fieldOf(form, name);
    if (!(select instanceof HTMLSelectElement)) continue;
    for (const option of [...select.options]) if (option.value) option.remove();
    const listed = ofKind(name);
    const own = withId(textIn(record, name));
    if (own && !listed.includes(own)) listed.push(own);
    for (const each of listed.sort(byName)) select.add(new Option(nameOf(each), each.id));
  }
}

// ---- The batch of an entry --------------------------------------------------------------------------------

/** Offer the batches kept in this browser, and the one that is in the entry already. */
export function fillBatches() {
  if (view.editing?.kind !== "entry") return;
  const { request, batch } = view.editing.extra;
  const choice = byId("entry-batch-choice", HTMLSelectElement);
  const options = [new Option(say("Not from a batch that is kept here"), "")];
  if (request) options.push(new Option(batch ? say("As written: {name}", { name: batch }) : say("The batch as written"), "written"));
  options.push(...openBatches().map(({ id, name }) => new Option(name || say("Batch without a name"), `batch ${id}`)));
  choice.replaceChildren(...options);
  choice.value = request ? "written" : "";
}

/** Take another batch for the entry. @param {string} chosen */
export function takeBatch(chosen) {
  if (chosen === "written" || !view.editing) return;
  const found = openBatches().find(({ id }) => `batch ${id}` === chosen);
  view.editing.extra = found ? { request: JSON.stringify(found.request), batch: found.name } : { request: "", batch: "" };
  fillBatches();
  typed();
}

/**
 * Return what an entry holds of a batch that was fed.
 * @param {{ name: string, request: import("../types").Request }} batch
 * @returns {Texts}
 */
export function entryOf({ name, request }) {
  const dilution = typeof request.dilution === "string" ? request.dilution : "";
  return { what: "liquid feed", request: JSON.stringify(request), batch: name, dilution };
}

/**
 * Open the form of an entry with a batch in it; where there is no bed yet, that of a bed.
 * @param {{ name: string, request: import("../types").Request }} batch
 */
export function addBatch({ name, request }) {
  if (!ofKind("bed").length) {
    tell(() => say("Add a bed first; then put the batch in."));
    openForm("bed");
    return;
  }
  const [can, ...more] = Array.isArray(request.cans) ? request.cans : [];
  const single = can && !more.length && ["", "1"].includes(String(can.count ?? "")) ? String(can.size ?? "") : "";
  openForm("entry", null, { ...entryOf({ name, request }), ...(single && { amount: single }) });
}

// ---- Typing and saving ------------------------------------------------------------------------------------

/** Something was typed into the open form. */
export function typed() {
  const { editing } = view;
  if (!editing) return;
  const { form, kind, id, key, extra } = editing;
  const fields = Object.fromEntries(fieldsIn(form).map(({ name, value }) => [name, value]));
  journal.keepDraft(key, { kind, id, fields: { ...fields, ...extra } });
  showWhatApplies(editing);
  if (kind === "entry") lookAgain();
}

/** Write what stands in the open form into the book. */
export async function save() {
  const open = view.editing;
  if (!open || open.saving) return;
  const { kind, id, was, key } = open;
  const fields = fieldsOf(open);
  const changed = Object.fromEntries(Object.entries(fields).filter(([name, text]) => text !== textIn(was, name)));
  if (!Object.keys(changed).length) {
    journal.keepDraft(key, null);
    closeForm();
    refresh();
    tell(() => (was ? say("Nothing was changed.") : say("Nothing was filled in.")));
    return;
  }
  open.saving = true;
  const written = write(kind, id, changed);
  journal.keepDraft(key, null);
  if (document.documentElement.dataset.engine !== "ready") { // it is in the journal: the form need not stay for it
    closeForm();
    refresh();
  }
  const refused = await written;
  if (refused) giveBack(open, fields, refused);
  else isWritten(open, changed);
}

/** @param {import("./view.js").Editing} open @param {Texts} changed */
function isWritten(open, changed) {
  if (view.editing === open) closeForm();
  if (open.kind === "bed") chooseBed(open.id);
  else if (changed.bed) chooseBed(changed.bed);
  refresh();
  tellUndoable(() => say("Written in the book."));
  byId("book-bed-sheet").focus();
}

/** The engine would not take it: it stands in its form again, unless another one is open by now.
 * @param {import("./view.js").Editing} open @param {Texts} fields @param {Refusal[]} refused
 */
function giveBack(open, fields, refused) {
  const { kind, id, was, key } = open;
  if (view.editing && view.editing !== open) {
    backToTyping(open, fields, refused);
    return;
  }
  const reopened = view.editing === open ? open : openForm(kind, was, fields, key);
  journal.keepDraft(key, { kind, id, fields });
  reopened.id = id;
  reopened.saving = false;
  tellErrors(refused);
}

/**
 * What the engine would not take, once its form is gone, stands as begun and not finished.
 * @param {{ kind: RecordKind, id: string }} record
 * @param {Texts} fields
 * @param {Refusal[]} errors
 */
export function backToTyping({ kind, id }, fields, errors) {
  journal.keepDraft(`${kind} ${id}`, { kind, id, fields });
  tell(() => say("Something you wrote could not go into the book. You find it under “not finished”. {reason}", { reason: wordsOf(errors) }));
}

/** Close the open form and throw away what stands in it; that can be undone. */
export function giveUp() {
  if (!view.editing) return;
  const { kind, key, was } = view.editing;
  const draft = journal.draft(key);
  journal.keepDraft(key, null);
  closeForm();
  refresh();
  if (!draft) {
    tellNothing();
    return;
  }
  tell(() => say("What you typed was deleted."), () => sayIn("button", "Undo"), () => {
    journal.keepDraft(key, draft);
    openForm(kind, was, {}, key);
  });
}

// ---- Begun and not finished -------------------------------------------------------------------------------

/** List the forms that were begun and not finished. */
export function showDrafts() {
  const place = byId("book-drafts");
  const found = Object.entries(journal.drafts()).filter(([key, { kind }]) => formOf(kind) && key !== view.editing?.key);
  place.hidden = !found.length || Boolean(view.editing || view.example);
  place.replaceChildren(...found.flatMap(([key, draft]) => linesOf(key, draft)));
}

/** @param {string} key @param {import("../types").Draft} draft */
function linesOf(key, draft) {
  const what = first(key === draft.kind ? "[data-new]" : "[data-again]", HTMLElement, formOf(draft.kind)).textContent;
  const buttons = made("div", "", { class: "buttons" });
  buttons.append(
    button(say("Continue with it"), () => openForm(draft.kind, withId(draft.id) ?? null, {}, key)),
    button(sayIn("button", "Delete it"), () => {
      journal.keepDraft(key, null);
      showDrafts();
      tell(() => sayIn("said after it was done", "Deleted."), () => sayIn("button", "Undo"), () => {
        journal.keepDraft(key, draft);
        showDrafts();
        tellNothing();
      });
    }),
  );
  return [made("p", say("Not finished: {what}", { what })), buttons];
}
