// Batches that come and go by files and links: seen in a preview first, taken in only then.

import { today } from "../common/clock.js";
import { byId, download, made } from "../common/dom.js";
import { toast } from "../common/notices.js";
import { go } from "../common/places.js";
import { say, sayIn, sayOf, show } from "../common/words.js";
import { link, newId, read, readLink } from "../store/batch_files.js";
import * as store from "../store/batches.js";
import { state, theBatch } from "../store/state.js";
import { turnTo } from "./batch_choice.js";
import * as form from "./form.js";
import { add, nameOf, tellKept } from "./keeping.js";

/** @typedef {import("../types").Batch} Batch */
/** @typedef {import("../common/words.js").Words} Words */

const LONGEST_SUMMARY = 300;

/** @param {Batch} one @param {Batch} other */
const isSame = (one, other) => JSON.stringify([one.name, one.request]) === JSON.stringify([other.name, other.request]);

/**
 * Offer batches that were found, in a preview.
 * @param {import("../types").FoundBatches} found
 * @param {Words} title
 * @param {Words} nothingNew what to say where everything is here already
 */
function offer({ batches = [], problem, unreadable }, title, nothingNew) {
  if (problem) {
    toast(problem);
    return;
  }
  const here = new Map(state.batches.map((each) => [each.id, each]));
  const coming = batches.filter((each) => {
    const mine = here.get(each.id);
    return !(mine && isSame(each, mine));
  });
  if (!coming.length) {
    toast(nothingNew);
    return;
  }
  const clashing = coming.some((each) => here.has(each.id));
  show(byId("preview-title"), title);
  show(byId("preview-words"), () => (unreadable ? say("Some of it could not be read and is left out.") : ""));
  byId("preview-list").replaceChildren(...coming.map((each) => lineOf(each, here.has(each.id))));
  show(byId("preview-keep"), () => (clashing ? say("Add, keeping mine too") : sayIn("button", "Add")));
  show(byId("preview-replace"), () => sayIn("button", "Replace mine"));
  byId("preview-replace").hidden = !clashing;
  askWhether(coming);
}

/** @param {Batch[]} coming */
function askWhether(coming) {
  const dialog = byId("preview", HTMLDialogElement);
  dialog.returnValue = "no";
  dialog.onclose = () => {
    const decision = dialog.returnValue;
    if (decision !== "no") takeIn(coming, decision === "replace");
  };
  dialog.showModal();
}

/** @param {Batch} batch @param {boolean} isHere */
function lineOf(batch, isHere) {
  const item = made("li");
  const between = isHere ? ` (${say("another version of one that is here")}): ` : ": ";
  item.append(made("strong", nameOf(batch)), between, summaryOf(batch.request));
  return item;
}

/**
 * What a request asks, as text: every field that is filled in.
 * @param {import("../types").Request} request
 */
function summaryOf(request) {
  const words = form.inWords(request).join("; ");
  return words.length > LONGEST_SUMMARY ? `${words.slice(0, LONGEST_SUMMARY - 1)}…` : words || say("nothing filled in");
}

/** @param {Batch[]} coming @param {boolean} replace */
function takeIn(coming, replace) {
  const before = state.batches.map((each) => ({ ...each }));
  const current = theBatch().id;
  const taken = coming.map((each) => takeOne(each, replace));
  const [one] = taken;
  if (!one) return;
  const left = turnTo(one);
  const count = taken.length;
  toast(() => (count === 1 ? sayIn("said after it was done", "Added “{name}”.", { name: nameOf(one) }) : sayOf(count, "Added {count} batch.", "Added {count} batches.")) + left(), () => sayIn("button", "Undo"), () => {
    for (const { id } of state.batches) store.remove(id);
    state.batches = before;
    for (const each of before) store.store(each);
    const back = before.find(({ id }) => id === current) ?? before[0];
    if (back) turnTo(back);
  });
}

/** @param {Batch} batch @param {boolean} replace */
function takeOne(batch, replace) {
  const mine = state.batches.find(({ id }) => id === batch.id);
  if (mine && replace) {
    Object.assign(mine, batch);
    tellKept(store.store(mine));
    return mine;
  }
  return add(batch.name || sayIn("name of a batch", "Batch"), batch.request, batch.done, mine ? newId() : batch.id);
}

/**
 * Offer the batches in a file.
 * @param {File} file
 */
export const openFile = async (file) => openText(await file.text(), file.name);

/**
 * Offer the batches in the text of a file; returns once that is decided.
 * @param {string} text
 * @param {string} name of the file
 */
export async function openText(text, name) {
  offer(read(text), () => say("From the file {name}", { name }), () => say("All that is in this file is here already."));
  const dialog = byId("preview", HTMLDialogElement);
  if (dialog.open) await new Promise((decided) => { dialog.addEventListener("close", decided, { once: true }); });
}

/** Offer the batch in the address, if there is one. */
export function takeLink() {
  const found = readLink(location.hash);
  if (!found) return;
  go("batch");
  history.replaceState(null, "", location.href.replace(/#.*$/, ""));
  offer(found, () => say("A batch came with the link"), () => say("Everything in this link is here already."));
}

/** Show a link to the batch on the page, and copy it where the browser allows that. */
export async function copyLink() {
  const place = byId("link-text", HTMLInputElement);
  place.value = `${location.href.replace(/#.*$/, "")}#${link(theBatch())}`;
  place.hidden = false;
  place.select();
  try {
    await navigator.clipboard.writeText(place.value);
    toast(() => say("Link copied. It holds the whole batch; whoever opens it sees a preview first."));
  } catch {
    toast(() => say("Copy the link from the box."));
  }
}

/** What is stored but can't be read stays where it is; whoever can mend it may have it as it stands. */
export function tellUnreadable() {
  const spoilt = store.unreadable();
  const count = Object.keys(spoilt).length;
  if (!count) return;
  toast(
    () => say("Batches saved here that can't be read: {count}. They are left as they are.", { count }),
    () => say("Save them to a file"),
    () => download(`feedcalc-unreadable-${today()}.json`, JSON.stringify(spoilt, null, 1), "application/json"),
  );
}
