// The steps, one at a time: which one is shown, what it waits for, and what the last ones offer.

import { textOf as calendarOf } from "../common/calendar_file.js";
import { localMoment } from "../common/clock.js";
import { byId, download } from "../common/dom.js";
import { current, go } from "../common/places.js";
import { onLanguage, say, show } from "../common/words.js";
import { theBatch } from "../store/state.js";
import { ticked, ticks } from "./answers.js";
import * as form from "./form.js";
import { changed } from "./history.js";
import { keep } from "./keeping.js";

const BEGINS = "steep"; // the step at which the clock starts
const WAITS = "settle";
const READS = "pour";
const OFFERS = ["feed", "keep", "sludge"];
const LOOK_EVERY = 20000; // milliseconds between looks at the clock
const MINUTE = 60000;
let shownStep = "";
/** @type {WakeLockSentinel | null} */
let awake = null;

const names = () => ticks().map(({ dataset }) => dataset.step ?? "");
const firstUndone = () => ticks().find(({ checked }) => !checked)?.dataset.step ?? names().at(-1) ?? "";

/** Return when the liquor is clear, or null where the beginning is not known. */
function readyAt() {
  const text = document.querySelector('[data-part="bench"] time')?.getAttribute("datetime");
  return text ? new Date(text) : null;
}

/** Whether the ash is in the water and the liquor is not poured yet. */
function isWaiting() {
  const { done } = theBatch();
  return done.includes(BEGINS) && !done.includes(READS);
}

/** Show the step that is under way, and what belongs to it; nothing of it outside the steps. */
export function showStep() {
  const within = current() === "steps";
  if (within && !names().includes(shownStep)) shownStep = firstUndone();
  for (const box of ticks()) box.closest(".step")?.toggleAttribute("data-shown", box.dataset.step === shownStep);
  const place = names().indexOf(shownStep);
  show(byId("step-count"), () => say("Step {number} of {count}", { number: place + 1, count: names().length }));
  byId("step-back", HTMLButtonElement).disabled = place <= 0;
  byId("waiting").hidden = !(within && shownStep === WAITS);
  byId("at-last").hidden = !(within && OFFERS.includes(shownStep));
  if (within) byId("reading").hidden = shownStep !== READS;
  show(byId("begin-steps"), () => (theBatch().done.length ? say("Continue the steps") : say("Begin the steps")));
  tellTime();
}

/** @param {string} name */
function turnToStep(name) {
  shownStep = name;
  showStep();
  window.scrollTo({ top: 0, behavior: "instant" });
  byId(`step-${name}`).focus({ preventScroll: true }); // so that it is read out
}

function finishStep() {
  const box = ticks().find(({ dataset }) => dataset.step === shownStep);
  if (box) box.checked = true;
  record(shownStep);
  const next = names()[names().indexOf(shownStep) + 1];
  if (next) turnToStep(next);
  else go("batch");
}

/** A step was ticked: keep that; once the ash is in the water, the wait begins now. @param {string} name */
export function record(name) {
  theBatch().done = ticked();
  if (name === BEGINS && ticked().includes(BEGINS)) beginNow();
  keep();
  showStep();
}

function beginNow() {
  const field = form.fieldAt("now");
  if (!field) return;
  field.value = localMoment();
  changed();
}

// ---- The wait ---------------------------------------------------------------------------------------------

function tellTime() {
  const ready = readyAt();
  const left = ready ? ready.getTime() - Date.now() : 0;
  show(byId("time-left"), () => leftWords(ready, left));
  const isClear = Boolean(ready) && left <= 0 && isWaiting();
  document.documentElement.toggleAttribute("data-clear", isClear);
  if (isClear && !document.title.startsWith("● ")) {
    const told = say("It is clear");
    document.title = `● ${told} – ${document.title}`;
    if (byId("wait-sound", HTMLInputElement).checked) sound();
  } else if (!isClear && document.title.startsWith("● ")) document.title = document.title.replace(/^.*? \u2013 /, "");
}

/** @param {Date | null} ready @param {number} left */
function leftWords(ready, left) {
  if (!ready) return say("Say when it began, and the page counts the hours.");
  if (!isWaiting()) return say("The clock starts when you tick that the ash is in the water.");
  if (left <= 0) return say("The time is up. Look if it is clear.");
  const hours = Math.floor(left / (60 * MINUTE));
  const minutes = Math.floor(left / MINUTE) % 60;
  return hours ? say("{hours} h {minutes} min left", { hours, minutes }) : say("{minutes} min left", { minutes });
}

/** Two short tones, made here: nothing is fetched. */
function sound() {
  const context = new AudioContext();
  const tone = context.createOscillator();
  tone.connect(context.destination);
  tone.start();
  tone.stop(context.currentTime + 0.6);
}

function toCalendar() {
  const ready = readyAt();
  if (!ready) return;
  const start = `${localMoment(ready)}:00`;
  const reminder = {
    uid: `${theBatch().id}@feedcalc`, start, alarm_minutes: 0, summary: say("Pour off the clear liquor"),
    description: [say("Goggles and gloves on. Pour slowly and stop above the sludge.")],
  };
  download("feedcalc-pour.ics", calendarOf([reminder], new Date()), "text/calendar");
}

// ---- The screen stays on ----------------------------------------------------------------------------------

async function keepAwake() {
  const wanted = current() === "steps" && document.visibilityState === "visible";
  if (wanted && !awake && "wakeLock" in navigator) {
    awake = await navigator.wakeLock.request("screen").catch(() => null); // a browser may refuse it
    awake?.addEventListener("release", () => { awake = null; });
  } else if (!wanted) await awake?.release();
}

/** The place shown is another one. @param {string} place */
export function stepsPlaceChanged(place) {
  byId("quick-field").hidden = true;
  if (place === "steps") turnToStep(firstUndone());
  else {
    byId("reading").hidden = byId("i-measured").getAttribute("aria-expanded") !== "true";
    showStep();
  }
  keepAwake();
}

/** Start the steps. */
export function startSteps() {
  byId("step-done").addEventListener("click", finishStep);
  byId("step-back").addEventListener("click", () => turnToStep(names()[names().indexOf(shownStep) - 1] ?? shownStep));
  byId("wait-calendar").addEventListener("click", toCalendar);
  document.addEventListener("visibilitychange", () => { keepAwake(); });
  setInterval(tellTime, LOOK_EVERY);
  onLanguage(showStep);
}
