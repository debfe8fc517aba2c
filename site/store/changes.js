// Changes of the season book: asked for, carried out by the engine, undone. Any screen may ask for one.
//
// Rules: a change goes into the journal first, then to the engine, then into the database. Reading, sums and merging
// are the engine's. What was asked for while the engine sleeps is carried out once it wakes.

import { localMoment } from "../common/clock.js";
import { language, say } from "../common/words.js";
import { ask } from "../engine/client.js";
import { startSearch, tellSetAside } from "./deadly_search.js";
import * as journal from "./journal.js";
import * as records from "./records.js";
import { textIn } from "./shapes.js";

/**
 * @typedef {import("../types").BookRecord} BookRecord
 * @typedef {import("../types").Change} Change
 * @typedef {import("../types").RecordKind} RecordKind
 * @typedef {import("../types").Refusal} Refusal
 * @typedef {Record<string, string>} Texts
 * @typedef {{ kind: RecordKind, id: string, before: Texts, after: Texts }[]} Step
 */

const MOST_TRIES = 8; // of a change, while other windows keep writing the same record

/** Steps that can be undone, and those that were. */
export const steps = {
  /** @type {Step[]} */
  past: [],
  /** @type {Step[]} */
  future: [],
};
/** What the screens do about a change; set by `startChanges`. */
const hooks = {
  /** @type {() => import("../types").Request} the request on the page */
  request: () => ({}),
  /** something was asked for, and waits in the journal */
  onAsked() {},
  /** the book changed */
  onChanged() {},
  /** @type {(change: Change, errors: Refusal[]) => void} the engine refuses what was asked for earlier */
  onRefused() {},
};
/** @type {Promise<unknown>} */
let working = Promise.resolve(); // the journal is worked through by one at a time
/** @type {Promise<unknown>} */
let turn = Promise.resolve();
let isToldOfDeadly = false; // which records the sums leave out is told at each start
/** @type {Set<string>} */
const entered = new Set(); // keys of changes that this window's book has; those only in memory stay in the journal

/** @param {Partial<typeof hooks>} given */
export function startChanges(given) {
  Object.assign(hooks, given);
  startSearch();
}

/** Return how the grower writes numbers and what a cup is, as on the batch's form. */
export function customs() {
  const { locale, customs: cups } = hooks.request();
  return { schema: 1, ...(locale && { locale }), ...(cups && { customs: cups }), language: language() };
}

/**
 * Return the engine's errors as one text.
 * @param {Refusal[]} errors
 */
export function wordsOf(errors) {
  return errors.map(({ problem, accepted }) => (accepted ? say("{problem} Try {accepted}.", { problem, accepted }) : problem)).join(" ");
}

/** @param {string} id */
const withId = (id) => records.all().find((record) => record.id === id);

/**
 * Ask for a change of one record: into the journal, and into the book as soon as the engine is awake. Returns a promise
 * of the engine's errors, if it has any.
 * @param {RecordKind} kind
 * @param {string} id
 * @param {Texts} fields
 */
export async function write(kind, id, fields) {
  const step = [{ kind, id, before: textsOf(withId(id), fields), after: fields }];
  return carryOut([changeOf(kind, id, fields)], step);
}

/**
 * What has to be written to have a record as it was; one that was not there is removed.
 * @param {BookRecord | undefined} record
 * @param {Record<string, unknown>} fields
 * @returns {Texts}
 */
export function textsOf(record, fields) {
  if (!record) return { removed: "yes" };
  return Object.fromEntries(Object.keys(fields).map((name) => [name, textIn(record, name)]));
}

/**
 * Add a step that was carried out already.
 * @param {Step} step
 */
export function remember(step) {
  steps.past.push(step);
  steps.future = [];
}

/**
 * @param {RecordKind} kind
 * @param {string} id
 * @param {Texts} fields
 * @returns {Change}
 */
function changeOf(kind, id, fields) {
  const before = withId(id);
  return { key: records.newId(), kind, id, fields, at: records.stamp(before ? [before] : []), by: records.device() };
}

/** @param {Change[]} changes @param {Step | null} step */
async function carryOut(changes, step) {
  for (const each of changes) journal.addToJournal(each);
  if (step) remember(step);
  hooks.onAsked();
  const refused = await workOff(changes);
  if (refused && step) steps.past = steps.past.filter((each) => each !== step);
  hooks.onChanged();
  return refused;
}

/**
 * Work through the journal and `changes`, one at a time; returns the engine's errors for one of `changes`.
 * @param {Change[]} [changes]
 * @returns {Promise<Refusal[] | null>}
 */
export function workOff(changes = []) {
  const run = working.then(async () => {
    if (!isToldOfDeadly) tellSetAside(records.deadly());
    isToldOfDeadly = true;
    const waiting = new Map([...journal.journal(), ...changes].map((each) => [each.key, each]));
    let refused = null;
    for (const each of waiting.values()) {
      const errors = entered.has(each.key) ? null : await enter(each);
      if (!errors) continue;
      if (changes.some(({ key }) => key === each.key)) refused = errors;
      else hooks.onRefused(each, errors);
    }
    return refused;
  });
  working = run.catch(() => {});
  return run.catch(() => null); // the engine can't be had now: the journal keeps what was asked for
}

/** @param {Change} change */
async function enter({ key, kind, id, fields, at, by }) {
  const beside = () => records.all().filter((record) => record.id === id || ["bed", "ash"].includes(record.kind));
  const unasked = records.deadly().find((record) => record.id === id); // the engine is not given it, so all of it is written
  const all = unasked ? { ...textsOf(unasked, unasked.fields), ...fields } : fields;
  let errors = null;
  try {
    const reply = await work(() => ({ do: "write", id, record: { kind, fields: all }, at, by, book: records.asObject(beside()) }));
    if (!reply.ok) ({ errors } = reply);
  } catch (error) {
    if (/** @type {Error} */ (error).name !== "Died") throw error;
    errors = [{ field: "", problem: say("The calculator stopped twice over this and was started again. Change something, or try again.") }];
  }
  if (errors) {
    journal.takeFromJournal(key);
    return errors;
  }
  entered.add(key);
  if (records.state().place === "browser") for (const each of entered) journal.takeFromJournal(each);
  return null;
}

/**
 * Have the engine work on the book and keep what changed; anew where another window was quicker.
 * @param {() => import("../types").Request} asked
 */
export async function work(asked) {
  for (let tries = 0; ; tries++) {
    const reply = await askBook(asked());
    const changed = reply.ok ? reply.values.book.changed ?? [] : [];
    if (!changed.length || (await records.put(changed)) !== "stale" || tries === MOST_TRIES) return reply;
  }
}

/**
 * One piece of work at a time: a newer question on one line of the engine would push the older one out.
 * @param {import("../types").Request} asked
 * @returns {Promise<import("../types").Reply>}
 */
export function askBook(asked) {
  if (asked.do === "write file" && records.deadly().length) { // the engine is not given all that the file has to hold
    return Promise.resolve({ ok: true, errors: [], warnings: [], html: {}, assumed: {}, read_as: {}, print: { pages: [] },
      values: { book: { text: `${records.envelope()}\n` } } });
  }
  const run = turn.then(() => ask({ ...customs(), ask: "book", now: localMoment(), ...asked }, { line: "book work" }));
  turn = run.catch(() => {});
  return run;
}

/** Undo the last step; returns the engine's errors, or null where it was undone, or undefined where there was none. */
export const undoStep = () => retrace(steps.past, steps.future, "before");

/** Do the step that was undone last again; returns as `undoStep`. */
export const redoStep = () => retrace(steps.future, steps.past, "after");

/**
 * @param {Step[]} from
 * @param {Step[]} to
 * @param {"before" | "after"} wanted
 */
async function retrace(from, to, wanted) {
  const step = from.pop();
  if (!step) return undefined;
  to.push(step);
  const changes = step.map((each) => {
    const fields = each[wanted];
    // What was removed because it had not been there comes back by saying so.
    const back = wanted === "after" && each.before.removed === "yes" ? { ...fields, removed: "" } : fields;
    return changeOf(each.kind, each.id, back);
  });
  const refused = await carryOut(changes, null);
  if (refused) from.push(...to.splice(to.length - 1));
  return refused;
}
