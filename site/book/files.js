// The book as a file, a table and a calendar; files opened, seen in a preview and merged.

import { textOf as calendarOf } from "../common/calendar_file.js";
import { today } from "../common/clock.js";
import { byId, download, first, made } from "../common/dom.js";
import { say, sayIn, show } from "../common/words.js";
import { open as openBatches } from "../store/batches.js";
import { askBook, remember, textsOf, wordsOf, work } from "../store/changes.js";
import { withoutDeadly } from "../store/deadly.js";
import * as records from "../store/records.js";
import { textIn } from "../store/shapes.js";
import { nameOf } from "./names.js";
import { winterAsh } from "./share.js";
import { tell, tellUndoable } from "./telling.js";
import { refresh } from "./view.js";

/**
 * @typedef {import("../types").BookRecord} BookRecord
 * @typedef {string | { place?: string, field?: string, given?: string, problem?: string }} Aside what could not be read
 */

const LONGEST_LIST = 100;

// ---- Out --------------------------------------------------------------------------------------------------

/** The engine writes the file, so that the same book gives the same bytes everywhere; asleep, a plain one is written. */
export async function bookText() {
  const isAwake = document.documentElement.dataset.engine === "ready";
  const reply = isAwake ? await askBook({ do: "write file", book: records.asObject() }).catch(() => null) : null;
  return reply?.ok ? reply.values.book.text : `${records.envelope()}\n`;
}

export async function saveBook() {
  download(`feedcalc-book-${today()}.json`, await bookText(), "application/json");
}

export function saveTable() {
  return saveWith(`feedcalc-book-${today()}.csv`, { do: "write csv", book: records.asObject() }, "text/csv", ({ text }) => text);
}

export function saveReminders() {
  const book = records.asObject([...records.all(), ...steeping()]);
  return saveWith(`feedcalc-reminders-${today()}.ics`, { do: "reminders", book, ash: winterAsh() }, "text/calendar",
    ({ reminders }) => calendarOf(reminders, new Date()));
}

/** @param {string} name @param {object} asked @param {string} type @param {(book: any) => string} textOf */
async function saveWith(name, asked, type, textOf) {
  try {
    const reply = await askBook(asked);
    if (reply.ok) {
      download(name, textOf(reply.values.book), type);
      tellLeftOut();
    } else tell(() => wordsOf(reply.errors));
  } catch {
    tell(() => say("The calculator cannot run in this browser. You can save only the plain file."));
  }
}

/** Tell which records are in no answer of the calculator, because it died over them, and so not in what was saved. */
function tellLeftOut() {
  const asked = new Set(withoutDeadly(records.all()));
  const names = records.all().filter((record) => !asked.has(record)).map(nameOf).join("; ");
  if (names) tell(() => say("This file leaves out what the calculator can't work with: {names}. The file of the whole book has it.", { names }));
}

/**
 * Batches that are open but fed to no bed yet, as entries of none: liquor steeps before it is written down.
 * @returns {BookRecord[]}
 */
function steeping() {
  const at = records.stamp();
  const by = records.device();
  /** @param {Record<string, string>} fields */
  const written = (fields) => Object.fromEntries(Object.entries(fields).map(([name, text]) => [name, { text, at, by }]));
  const ofExample = first('[name="now"]', HTMLInputElement).defaultValue;
  const batches = openBatches().filter(({ request }) => request.now && request.now !== ofExample);
  return batches.map(({ name, request }, place) => ({
    id: `open-${place}`, kind: "entry", history: [],
    fields: written({ what: "liquid feed", batch: name ?? "", request: JSON.stringify(request) }),
  }));
}

/** Hand the person what is stored but can't be read. */
export function saveUnreadable() {
  download("feedcalc-unreadable.json", JSON.stringify(records.broken().map(({ raw }) => raw), null, 1), "application/json");
}

// ---- In ---------------------------------------------------------------------------------------------------

/** Read a file, and show in a preview what it would bring. @param {File} file */
export const openFile = async (file) => openText(await file.text(), file.name);

/**
 * Read the text of a file, and show in a preview what it would bring.
 * @param {string} text
 * @param {string} name of the file
 */
export async function openText(text, name) {
  const csv = /\.csv$/i.test(name);
  let read;
  try {
    read = await askBook({ do: csv ? "read csv" : "read file", text, at: records.stamp(), by: records.device(), book: records.asObject() });
  } catch {
    tell(() => say("The calculator is not running, so no file can be read. Try again when it has loaded."));
    return;
  }
  const { ok, errors, values } = read;
  if (ok) preview(values.book, name);
  else tell(() => wordsOf(errors));
}

/** @param {{ changed?: BookRecord[], set_aside?: Aside[] }} found @param {string} name */
function preview({ changed = [], set_aside: aside = [] }, name) {
  if (!changed.length && !aside.length) {
    tell(() => say("Everything in {name} is in the book already.", { name }));
    return;
  }
  listFound(changed, aside);
  const dialog = byId("book-preview", HTMLDialogElement);
  first('[value="yes"]', HTMLElement, dialog).hidden = !changed.length;
  dialog.returnValue = "no";
  dialog.onclose = async () => {
    if (dialog.returnValue !== "yes") return;
    await takeIn(changed);
    tellUndoable(() => say("Merged {name} into the book.", { name }));
  };
  dialog.showModal();
}

/** @param {BookRecord[]} changed @param {Aside[]} aside */
function listFound(changed, aside) {
  const here = new Map(records.all().map((record) => [record.id, record]));
  const fresh = changed.filter(({ id }) => !here.has(id));
  const other = changed.filter(({ id }) => here.has(id));
  show(byId("book-preview-words"), () => say("New: {fresh}. Changed: {other}. Left out because it can't be read: {aside}.", {
    fresh: fresh.length, other: other.length, aside: aside.length,
  }));
  byId("book-preview-list").replaceChildren(
    ...fresh.slice(0, LONGEST_LIST).map((record) => lineOf(sayIn("what a file brings", "New:"), nameOf(record))),
    ...other.slice(0, LONGEST_LIST).map((record) => lineOf(sayIn("what a file brings", "Changed:"), differences(here.get(record.id), record))),
    ...aside.slice(0, LONGEST_LIST).map((each) => lineOf(sayIn("what a file brings", "Left out:"), wordsOfAside(each))),
  );
}

/** @param {string} words @param {string} detail */
function lineOf(words, detail) {
  const item = made("li");
  item.append(made("strong", words), " ", detail);
  return item;
}

/** @param {Aside} each */
const wordsOfAside = (each) => (typeof each === "string" ? each : [each.place ?? each.field, each.given, each.problem].filter(Boolean).join(": "));

/** @param {BookRecord | undefined} mine @param {BookRecord} coming */
function differences(mine, coming) {
  const names = Object.keys(coming.fields).filter((name) => textIn(mine, name) !== textIn(coming, name) && name !== "request");
  const told = names.map((name) => say("“{mine}” becomes “{coming}”", { mine: textIn(mine, name), coming: textIn(coming, name) }));
  return [mine ? nameOf(mine) : "", ...(told.length ? told : [say("only its history gets longer")])].join("; ");
}

/** @param {BookRecord[]} coming */
async function takeIn(coming) {
  const before = new Map(records.all().map((record) => [record.id, record]));
  const reply = await work(() => ({ do: "merge", other: records.asObject(coming), book: records.asObject() })).catch(() => null);
  if (!reply?.ok) {
    tell(() => say("This could not be merged. The book is as it was."));
    return;
  }
  /** @type {BookRecord[]} */
  const changed = reply.values.book.changed ?? [];
  remember(changed.map(({ kind, id, fields }) => {
    const mine = before.get(id);
    const texts = Object.entries(fields).map(([name, { text }]) => [name, text]);
    const after = Object.fromEntries(texts.filter(([name = "", text]) => text !== textIn(mine, name)));
    return { kind, id, before: textsOf(mine, after), after };
  }));
  refresh();
}
