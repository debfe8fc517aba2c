// Small texts kept twice: in localStorage, which is written while a tab is being closed, and beside it in the database.
//
// Rules: a browser writes localStorage to the disk only seconds later, and a busy one may open a page with none of it
// and forget what is written then; the database has it in both cases. Of two copies the one changed later counts. What
// is gone from both is gone.

import { keep, kept } from "../common/storage.js";
import { TYPED, done, held } from "./database.js";

const KEPT_TWICE = ["feedcalc.batch.", "feedcalc.book.draft.", "feedcalc.book.journal."];
// What is taken away leaves an empty text in localStorage until the database has let go of it as well; else a window
// closed between the two, or a database that was lost and opens again, would bring it back.
const GONE = "";
/** @type {((keys: string[]) => void)[]} */
const followers = [];

/**
 * Keep a text under a key, or take it away with null. Returns whether localStorage took it.
 * @param {string} key
 * @param {string | null} text
 */
export function keepTwice(key, text) {
  const isHeld = keep(key, text ?? GONE);
  try {
    const change = held.database?.transaction(TYPED, "readwrite", { durability: "relaxed" });
    const place = change?.objectStore(TYPED);
    if (text === null) place?.delete(key);
    else place?.put(text, key);
    change?.commit?.(); // at once: a page put away before would leave the database waiting for it
    change?.addEventListener("complete", () => { if (kept(key) === GONE) keep(key, null); });
  } catch { /* the database is being closed: localStorage has it */ }
  return isHeld;
}

/**
 * Call back with the keys of what the database brought back to localStorage.
 * @param {(keys: string[]) => void} follow
 */
export function onBroughtBack(follow) {
  followers.push(follow);
}

/** Take from the database what localStorage has lost or has older, and give it what it lacks. */
export async function bringBack() {
  if (!held.database) return;
  const place = held.database.transaction(TYPED).objectStore(TYPED);
  const [keys, texts] = await Promise.all([done(place.getAllKeys()), done(place.getAll())]);
  const there = new Map(keys.map((key, at) => [String(key), String(texts[at])]));
  const back = [...there].filter(([key, text]) => isOlder(kept(key), text) && keep(key, text)).map(([key]) => key);
  if (back.length) for (const follow of followers) follow(back);
  for (const key of keysHere()) {
    const text = kept(key);
    if (text === GONE) keepTwice(key, null);
    else if (text !== null && text !== there.get(key)) keepTwice(key, text);
  }
}

/** @param {string | null} here @param {string} there */
function isOlder(here, there) {
  return here === null || (here !== GONE && changedAt(here) < changedAt(there));
}

/** When a batch was changed; "" of anything else. @param {string} text */
function changedAt(text) {
  try {
    return String(JSON.parse(text)?.changed ?? "");
  } catch {
    return "";
  }
}

function keysHere() {
  try {
    return Object.keys(localStorage).filter((key) => KEPT_TWICE.some((beginning) => key.startsWith(beginning)));
  } catch {
    return []; // refused
  }
}
