// How far the calculator is awake, and what to say where it can't wake.

import { byId } from "../common/dom.js";
import { announce } from "../common/notices.js";
import { say, show } from "../common/words.js";
import { startEngine } from "../engine/client.js";

/** @typedef {import("../common/words.js").Words} Words */

/** @type {Record<string, Words>} */
const STAGES = {
  fetching: () => say("Fetching the calculator"),
  unpacking: () => say("Unpacking the calculator"),
  starting: () => say("Starting the calculator"),
};

/**
 * What to say where the browser lacks something that the calculator needs, or where this copy of the page is not whole.
 * @type {Record<string, Words>}
 */
const CAUSES = {
  WebAssembly: () => say("This browser has no WebAssembly; a strict security mode may have switched it off. Allow it for this page, or open the page in another browser."),
  Worker: () => say("This browser runs no programs in the background, which the calculator needs. Open the page in another browser."),
  DecompressionStream: () => say("This browser is too old to unpack the calculator. Open the page in a browser of 2023 or newer."),
  damaged: () => (document.documentElement.hasAttribute("data-installable")
    ? say("A part of this page is incomplete or damaged. Try again. If you see this again, reload the page later.")
    : say("This file is incomplete or damaged. Download or copy it again, and put it in place of this one under the same name. Then what you saved is there again.")),
};

/** Wake the calculator, and show how far that is. */
export function wakeEngine() {
  show(byId("state-words"), () => say("Getting the calculator ready. You can read the example until then."));
  startEngine({
    onStage: ({ name, done, total }) => {
      const bar = byId("state-bar", HTMLProgressElement);
      const share = Math.floor(100 * done / total);
      show(byId("state-words"), () => say("{stage}: {share} %.", { stage: STAGES[name]?.(), share }));
      bar.hidden = false;
      bar.max = total;
      bar.value = done;
      byId("state-why").hidden = true;
      byId("try-again").hidden = true;
    },
    onReady: () => {
      show(byId("state-words"), () => "");
      byId("state-bar").hidden = true;
    },
    onFailed: ({ message, cause }) => {
      const words = () => say("The calculator can't start here. You can still read the sheet below, and its cautions are right for every batch. What you type is kept.");
      const gone = /^(.*): 404$/.exec(message)?.[1];
      const changed = gone ? () => say("The page on the host has changed: {part} is no longer there. Reload the page.", { part: gone }) : null;
      const reason = changed ?? CAUSES[cause] ?? (() => say("Reason: {message} Browser: {browser}", { message, browser: navigator.userAgent }));
      byId("state-bar").hidden = true;
      show(byId("state-words"), words);
      show(byId("state-why"), reason);
      byId("state-why").hidden = false;
      byId("try-again").hidden = false;
      announce(words);
    },
  });
}
