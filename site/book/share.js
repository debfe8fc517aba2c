// A winter's ash shared out over the beds of the book. What each may get is the engine's.

import { localMoment } from "../common/clock.js";
import { byId, first, putMarkup } from "../common/dom.js";
import { say, show } from "../common/words.js";
import { ask } from "../engine/client.js";
import { customs, wordsOf } from "../store/changes.js";
import { asObject } from "../store/records.js";
import { country, shownRecords } from "./view.js";

const FIELDS = ["amount", "wood", "kind"];

/** What is told of the ash; empty where nothing is typed. */
export function winterAsh() {
  const typed = FIELDS.map((name) => [name, byId(`share-${name}`, HTMLInputElement).value.trim()]);
  return Object.fromEntries(typed.filter(([, text]) => text));
}

/** Ask for the shares and show them below the form. */
async function shareOut() {
  const told = byId("share-told");
  show(told, () => say("Being worked out again…"));
  try {
    const reply = await ask({
      ...customs(), ask: "share", now: localMoment(), book: asObject(shownRecords()), ash: winterAsh(), ...country(),
    }, { line: "share" });
    show(told, reply.ok ? () => Object.values(reply.read_as).join("; ") : () => wordsOf(reply.errors));
    putMarkup(byId("share-sheet"), reply.ok ? reply.html.share ?? "" : "");
    if (reply.ok) first("#shared-out").focus();
  } catch (error) {
    if (/** @type {Error} */ (error).name !== "Superseded") show(told, () => say("Not worked out: the calculator cannot run in this browser. What you wrote is kept."));
  }
}

/** Bind the form. */
export function startSharing() {
  byId("share-form").addEventListener("submit", (event) => {
    event.preventDefault();
    shareOut();
  });
}
