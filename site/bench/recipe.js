// A recipe as it was told, judged by the engine, or what happened; the safe version becomes a batch at a tap.
// What is typed is sent as it stands, with the ground and plants of the batch on the page. Nothing is concluded here.

import { localMoment } from "../common/clock.js";
import { byId, first, putMarkup } from "../common/dom.js";
import { go } from "../common/places.js";
import { onLanguage, say, show } from "../common/words.js";
import { ask } from "../engine/client.js";
import { isExample, theBatch } from "../store/state.js";
import { turnTo } from "./batch_choice.js";
import * as form from "./form.js";
import { add } from "./keeping.js";

/** @typedef {import("../types").Request} Request */

const FIELDS = { judge: "recipe", happened: "happened" };
/** @type {Request | null} */
let safe = null; // the safe version of the recipe that is shown
/** @type {keyof typeof FIELDS | null} */
let asked = null;

/** @param {keyof typeof FIELDS} kind @returns {Request} */
function requestFor(kind) {
  // The example is nobody's ground: only the language, units and numbers of it count.
  const { schema, language, locale, customs, ...ground } = form.askedAt("batch", theBatch().request);
  const own = isExample() ? {} : ground;
  const text = byId("recipe-text", HTMLTextAreaElement).value;
  return { ...own, schema, language, locale, customs, now: localMoment(), ask: kind, [FIELDS[kind]]: text };
}

/** @param {import("../types").Reply} reply */
function showReply(reply) {
  const told = byId("recipe-told");
  told.hidden = reply.ok;
  told.textContent = reply.ok ? "" : reply.errors.map(({ problem, accepted }) => `${problem} ${accepted ?? ""}`).join("\n");
  if (!reply.ok) byId("recipe-text").focus();
  const place = first('[data-part="recipe"]');
  putMarkup(place, Object.values(reply.html ?? {}).join(""));
  const version = reply.ok ? reply.values.judge?.safe?.request : null;
  safe = version && version.ask === undefined ? version : null;
  byId("take-safe").hidden = !safe;
}

/** @param {keyof typeof FIELDS} kind */
async function answer(kind) {
  asked = kind;
  const state = byId("recipe-state");
  show(state, () => say("Being worked out again…"));
  try {
    showReply(await ask(requestFor(kind), { line: "recipe" }));
    show(state, () => say("For what is typed now."));
  } catch (error) {
    if (/** @type {Error} */ (error).name === "Superseded") return;
    show(state, () => say("Not worked out: the calculator cannot run in this browser. What you typed is kept."));
  }
}

/** Start the place of recipes. */
export function startRecipe() {
  byId("recipe-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const pressed = /** @type {SubmitEvent} */ (event).submitter;
    answer(pressed instanceof HTMLButtonElement && pressed.value === "happened" ? "happened" : "judge");
  });
  byId("take-safe").addEventListener("click", () => {
    if (!safe) return;
    turnTo(add(say("From a recipe"), structuredClone(safe)));
    go("batch");
  });
  onLanguage(() => { if (asked && byId("recipe-text", HTMLTextAreaElement).value) answer(asked); });
}
