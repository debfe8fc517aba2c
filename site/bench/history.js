// Changes of the batch on the page, each kept at once and each to be undone.

import { byId } from "../common/dom.js";
import { localMoment } from "../common/clock.js";
import { CUSTOMS, keep as keepText, kept } from "../common/storage.js";
import { sayIn } from "../common/words.js";
import { isExample, state, theBatch } from "../store/state.js";
import { recalculate } from "./answers.js";
import * as ashes from "./ash_choice.js";
import * as form from "./form.js";
import { keep } from "./keeping.js";

const MOST_STEPS = 200;

/** Show whether there is something to undo or to do again. */
export function tellHistory() {
  byId("undo", HTMLButtonElement).disabled = !state.past.length;
  byId("redo", HTMLButtonElement).disabled = !state.future.length;
}

function remember() {
  state.past.push(JSON.stringify(theBatch().request));
  if (state.past.length > MOST_STEPS) state.past.shift();
  state.future = [];
  tellHistory();
}

export const undo = () => step(state.past, state.future);
export const redo = () => step(state.future, state.past);

/** @param {string[]} from @param {string[]} to */
function step(from, to) {
  const wanted = from.pop();
  if (wanted === undefined) return;
  const batch = theBatch();
  to.push(JSON.stringify(batch.request));
  batch.request = JSON.parse(wanted);
  tellHistory();
  takeRequest();
}

/** The request was changed past the form. */
function takeRequest() {
  state.typing = null;
  form.write(theBatch().request);
  keep();
  ashes.show();
  recalculate();
}

/**
 * The form was changed: by typing into the field `name`, or at once where there is no name.
 * @param {string | null} [name]
 */
export function changed(name = null) {
  const batch = theBatch();
  const request = form.read();
  if (JSON.stringify(request) === JSON.stringify(batch.request)) return;
  if (!name || state.typing !== name) remember();
  state.typing = name;
  const wasExample = isExample();
  if (request.customs !== batch.request.customs) keepText(CUSTOMS, request.customs ?? null);
  batch.request = request;
  if (wasExample) makeOwn(batch);
  keep();
  recalculate();
}

/** The example was touched: from now on it is the grower's own batch, begun now. @param {import("../types").Batch} batch */
function makeOwn(batch) {
  if (batch.name === sayIn("name of a batch", "Example")) batch.name = sayIn("name of a batch", "Batch");
  byId("batch-name", HTMLInputElement).value = batch.name;
  const example = JSON.parse(state.example);
  const { request } = batch;
  if (request.now === example.now) request.now = localMoment();
  // Whoever is at home in the US counts in gallons, and reads them so.
  const isUs = request.locale === example.locale && form.localeAtHome() === "en-US";
  if (isUs) request.locale = "en-US";
  if (request.customs === example.customs) request.customs = kept(CUSTOMS) ?? (isUs ? "us" : request.customs);
  byId("now", HTMLInputElement).value = request.now;
  for (const name of ["locale", "customs"]) byId(name, HTMLSelectElement).value = request[name] ?? "";
}

/**
 * Take parts of a kept ash for this batch; `earlier` null goes by none.
 * @param {{ kind?: string, state?: string, earlier: object[] | null }} ash
 */
export function takeAsh({ earlier, ...parts }) {
  remember();
  const batch = theBatch();
  const own = { ...batch.request.ash };
  delete own.earlier;
  batch.request = { ...batch.request, ash: { ...own, ...parts, ...(earlier && { earlier }) } };
  takeRequest();
}
