// The page's side of the worker: starts it, asks it, ends it when it hangs. No arithmetic, no words for people.
//
// Rules: of all asked on one line only the newest counts; an answer under way is dropped as soon as something newer is
// asked on its line, and rests while something newer is worked out on another. <html data-engine> says "starting",
// "ready" or "failed". The program is held to its hash before it runs; the payload while Python starts, by this thread,
// which has nothing else to do: no answer comes before both are known to be whole. A Python that dies over a question is
// started anew and asked it once more. Whoever knows what such a question is made of may find the part that kills
// (`mendDeadly`); meanwhile nothing else is asked.

import { language } from "../common/words.js";
import { addressOfPayload, canHash, isWhole, partsOfPayload, whatIsLacking } from "./loading.js";

/**
 * @typedef {import("../types").Progress} Progress
 * @typedef {object} Settings
 * @property {(stage: Progress & { name: "fetching" | "unpacking" | "starting" }) => void} onStage bytes dealt with and in all
 * @property {() => void} onReady after every start
 * @property {(failure: { message: string, cause: string }) => void} onFailed Python can't start; restart() may be tried.
 *   cause: name of what this browser has not; "damaged" where this copy of the page was cut or changed; or ""
 * @property {number} patience milliseconds to wait for one answer before Python is restarted
 * @property {number} patienceAtStart milliseconds without a sign of life from a starting worker
 *
 * @typedef {object} Question
 * @property {number} id
 * @property {string} text
 * @property {(far: Progress) => void} onProgress
 * @property {((reply: import("../types").Reply) => void) | null} onEarly
 * @property {(reply: import("../types").Reply) => void} resolve
 * @property {(error: Error) => void} reject
 * @property {boolean} isProbe whether one death is an answer
 * @property {boolean} [isDeadly] Python died over it once
 *
 * @typedef {import("../types").Request} Request
 * @typedef {(request: Request) => Promise<((request: Request) => Request) | null>} Mend
 */

/** @type {Settings} */
const USUAL = { onStage() {}, onReady() {}, onFailed() {}, patience: 15000, patienceAtStart: 60000 };
/** @type {Map<string, Question>} */
const waiting = new Map(); // line -> the newest question of it
/** @type {Settings} */
let settings = USUAL;
/** @type {Worker | null} */
let worker = null;
/** @type {Worker | null} */
let unpacker = null; // until Python is awake
let ready = false;
/** @type {(Pick<Question, "id" | "onEarly"> & { line: string })[]} */
let sent = []; // questions the worker has and has not answered, the newest last
/** @type {{ id: number, line: string } | null} */
let at = null; // which of them it is at, as far as is known
let hanging = 0; // timer of a worker that is at a question
let lastId = 0;
let silence = 0; // timer of a starting worker
let generation = 0; // counts workers, so that a late message of an ended one is known
let whole = Promise.resolve(true); // whether the payload of this worker is what the build made
/** @type {(isWhole: Promise<boolean> | boolean) => void} the first word counts */
let tellWhole = () => {};
/** @type {Mend} */
let mend = async () => null;
let isMending = false;
/** @type {Map<string, string>} */
const givenUp = new Map(); // line -> the question Python died over twice: it is not asked again
let anew = false; // whether to ask past the browser's own copies, since those were damaged

/** @param {string} name @param {string} message */
const named = (name, message) => Object.assign(new Error(message), { name });
/** @param {string} state */
const mark = (state) => { document.documentElement.dataset.engine = state; };
/** @param {unknown} error */
const messageOf = (error) => (error instanceof Error ? error.message : String(error));

/**
 * Start Python, with these settings.
 * @param {Partial<Settings>} [given]
 */
export function startEngine(given = {}) {
  settings = { ...USUAL, ...given };
  return launch();
}

/** End the worker and start another; what waits is asked again. */
export function restart() {
  givenUp.clear();
  return launch();
}

/**
 * Have a question that Python died over twice looked into: it may be put anew with `isProbe`, and what comes back takes
 * the part that kills out of any question.
 * @param {Mend} given
 */
export function mendDeadly(given) {
  mend = given;
}

async function launch() {
  endWorker();
  const mine = ++generation;
  whole = canHash() ? new Promise((resolve) => { tellWhole = resolve; }) : Promise.resolve(true);
  mark("starting");
  const lacking = whatIsLacking();
  if (lacking) return fail(lacking, lacking);
  try {
    await wake(mine);
  } catch (error) {
    if (mine === generation) fail(messageOf(error), error instanceof Error && error.name === "Damaged" ? "damaged" : "");
  }
  return undefined;
}

/** @param {number} mine the generation of this worker */
async function wake(mine) {
  const begun = window.feedcalcEarly.begun(anew);
  unpacker = begun.unpacker;
  begun.listen((said) => {
    if (mine !== generation) return;
    if ("crash" in said) crashed(said.crash);
    else heard(said.data);
  });
  const fed = addressOfPayload() ? null : feed(unpacker, mine);
  fed?.catch(() => {}); // heard below; the program may fail before
  const python = await begun.python;
  if (mine === generation) worker = python;
  else python.terminate();
  await fed;
}

/** @param {Worker} to @param {number} mine */
async function feed(to, mine) {
  for await (const part of partsOfPayload()) {
    if (mine !== generation) return;
    to.postMessage({ part });
    awaitSign();
  }
  to.postMessage({ part: null });
}

function awaitSign() {
  clearTimeout(silence);
  if (!ready) silence = setTimeout(() => fail("Python gave no sign of life"), settings.patienceAtStart);
}

function endWorker() {
  clearTimeout(silence);
  unpacker?.terminate();
  worker?.terminate();
  unpacker = worker = null;
  ready = false;
  sent = [];
  awaitWord();
}

/** The worker goes to its newest question; if it says nothing for too long, it hangs. */
function awaitWord() {
  clearTimeout(hanging);
  at = sent.at(-1) ?? null;
  hanging = at ? setTimeout(hung, settings.patience) : 0;
}

/** @param {any} message see worker.js and unpacker.js */
function heard(message) {
  if (message.stage) {
    awaitSign();
    settings.onStage({ name: message.stage, done: message.done, total: message.total });
  } else if (message.payload) {
    holdToHash(message.payload);
  } else if (message.ready) {
    awake();
  } else if (message.total !== undefined || message.early !== undefined) {
    goesOn(message);
  } else if (message.id !== undefined) {
    answered(message);
  } else {
    startFailed(message.failed, message.damaged);
  }
}

/** @param {Uint8Array<ArrayBuffer>} payload */
async function holdToHash(payload) {
  const mine = generation;
  tellWhole(isWhole("engine-payload", payload));
  if (!await whole && mine === generation) fail("the payload has another hash", "damaged");
}

async function awake() {
  const mine = generation;
  if (!await whole || mine !== generation) return; // that it is damaged was told
  unpacker?.terminate();
  unpacker = null;
  ready = true;
  clearTimeout(silence);
  mark("ready");
  settings.onReady();
  sendAll();
}

/** @param {string} message @param {boolean} [damaged] */
async function startFailed(message, damaged = false) {
  const mine = generation;
  clearTimeout(silence);
  tellWhole(true); // where no hash is known by now, none will be
  if (await whole && mine === generation) fail(message, damaged ? "damaged" : "");
}

/**
 * The reply comes in the language of the page. English is what a request without one is answered in.
 * @param {import("../types").Request} request
 */
function inChosenLanguage(request) {
  return language() === "en" ? request : { ...request, language: language() };
}

/**
 * Return a promise of the reply of `feedcalc.engine.calculate`. May be asked before the engine is ready: it waits. It is
 * rejected with an error named "Superseded" (something newer was asked on this line), "TimedOut" (Python hung and is
 * being restarted), "Died" (Python died over it twice and is being restarted) or "Failed" (Python can't be had, or
 * raised an error). onProgress comes now and then while a long answer is worked out, onEarly with replies before the last,
 * which may be to a question that was superseded meanwhile: where keys come faster than answers, some figures move.
 * @param {import("../types").Request} request
 * @param {{ line?: string, onProgress?: (far: Progress) => void, onEarly?: Question["onEarly"], isProbe?: boolean }} [options]
 * @returns {Promise<import("../types").Reply>}
 */
export function ask(request, { line = "sheet", onProgress = () => {}, onEarly = null, isProbe = false } = {}) {
  return new Promise((resolve, reject) => {
    const older = waiting.get(line);
    older?.reject(named("Superseded", "a newer request took its place"));
    if (older && sent.some(({ id }) => id === older.id)) worker?.postMessage({ drop: older.id });
    const text = JSON.stringify(inChosenLanguage(request));
    waiting.set(line, { id: ++lastId, text, onProgress, onEarly, resolve, reject, isProbe });
    if (document.documentElement.dataset.engine === "failed") settle(line, lastId)?.reject(named("Failed", "no engine"));
    else if (givenUp.get(line) === timeless(text)) settle(line, lastId)?.reject(named("Died", "asked before"));
    else sendAll();
  });
}

/**
 * The text of a question without its clock, which makes each one another.
 * @param {string} text
 */
const timeless = (text) => JSON.stringify({ ...JSON.parse(text), now: "" });

/** Whatever the worker has not got yet, in the order it was asked. */
function sendAll() {
  if (!ready) return;
  const fresh = [...waiting].filter(([, { id, isProbe }]) => isProbe >= isMending && !sent.some((known) => known.id === id));
  for (const [line, { id, text, onEarly }] of fresh.sort(([, one], [, other]) => one.id - other.id)) {
    sent.push({ id, line, onEarly });
    worker?.postMessage({ id, request: text, early: Boolean(onEarly) });
  }
  if (!at) awaitWord();
}

/** @param {number} id */
const lineOf = (id) => sent.find((known) => known.id === id)?.line ?? "";

/** @param {Progress & { id: number, early?: string }} message */
function goesOn({ id, done, total, early }) {
  awaitWord();
  if (early !== undefined) {
    sent.find((known) => known.id === id)?.onEarly?.(JSON.parse(early));
    return;
  }
  const entry = waiting.get(lineOf(id));
  if (entry?.id === id) entry.onProgress({ done, total });
}

/**
 * Take the question with this id off its line, if it is still the newest there.
 * @param {string} line
 * @param {number} id
 */
function settle(line, id) {
  const entry = waiting.get(line);
  if (entry?.id !== id) return null;
  waiting.delete(line);
  return entry;
}

/** @param {{ id: number, reply?: string, failed?: string, fatal?: boolean }} message */
function answered({ id, reply, failed, fatal }) {
  if (fatal) {
    died({ id, line: lineOf(id) }, failed ?? "");
    return;
  }
  const entry = settle(lineOf(id), id);
  sent = sent.filter((known) => known.id !== id);
  awaitWord();
  if (reply !== undefined) entry?.resolve(JSON.parse(reply));
  else entry?.reject(named("Failed", failed ?? "")); // of what was dropped nobody waits any longer
}

function hung() {
  if (at) settle(at.line, at.id)?.reject(named("TimedOut", "no answer in time"));
  launch();
}

/** @param {string} message */
function crashed(message) {
  if (!ready) return startFailed(message);
  return died(at, message);
}

/**
 * Start Python anew; what waits is asked again, but not a question that it died over twice.
 * @param {{ id: number, line: string } | null} over
 * @param {string} message
 */
function died(over, message) {
  const entry = over && settle(over.line, over.id);
  if (entry && !entry.isProbe && !entry.isDeadly) waiting.set(over.line, { ...entry, isDeadly: true });
  const started = launch();
  if (entry?.isProbe) entry.reject(named("Died", message));
  else if (over && entry?.isDeadly) lookInto(over.line, entry, message);
  return started;
}

/** @param {string} line @param {Question} entry @param {string} message */
async function lookInto(line, entry, message) {
  isMending = true;
  const without = await mend(JSON.parse(entry.text)).catch(() => null);
  isMending = false;
  if (!without) {
    givenUp.set(line, timeless(entry.text));
    entry.reject(named("Died", message));
  } else if (waiting.has(line)) {
    entry.reject(named("Superseded", "a newer request took its place"));
  } else {
    waiting.set(line, { ...entry, id: ++lastId, isDeadly: false });
  }
  if (without) for (const each of waiting.values()) each.text = JSON.stringify(without(JSON.parse(each.text)));
  sendAll();
}

/** @param {string} message @param {string} [cause] */
function fail(message, cause = "") {
  generation += 1; // what is still being fetched tells of no progress any more
  const isFirst = !anew;
  anew ||= cause === "damaged";
  if (anew && isFirst && document.documentElement.hasAttribute("data-installable")) { // the host may have it whole
    launch();
    return;
  }
  endWorker();
  mark("failed");
  for (const [line, { id }] of [...waiting]) settle(line, id)?.reject(named("Failed", message));
  settings.onFailed({ message, cause });
}
