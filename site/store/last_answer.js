// The last whole answer, kept over a visit: what stands on the page until the engine has worked it out again.
//
// Rules: it is of use only to the same question, in the same language, put to the same engine. Storage is not ours alone
// where a browser shares it between files, so that markup which could act or lead elsewhere is not taken.

import { keep, kept } from "../common/storage.js";

const KEY = "feedcalc.last";
const ACTS = /<(?:script|iframe|object|embed|form|meta|base|link|style)\b|\son\w+\s*=|(?:href|src|action)\s*=\s*(?!"#)/i;

const engine = () => document.documentElement.dataset.engineMade;

/**
 * Keep the parts of an answer; where that is refused there is none next time.
 * @param {string} question
 * @param {Record<string, string>} html
 */
export function keepLast(question, html) {
  keep(KEY, JSON.stringify({ question, engine: engine(), html }));
}

/**
 * Return the parts of the answer that was kept to a question, or null.
 * @param {string} question
 * @returns {Record<string, string> | null}
 */
export function lastTo(question) {
  try {
    const last = JSON.parse(kept(KEY) ?? "null");
    const isOfUse = last?.question === question && last.engine === engine();
    return isOfUse && Object.values(last.html).every((markup) => typeof markup === "string" && !ACTS.test(markup)) ? last.html : null;
  } catch { // spoilt
    return null;
  }
}
