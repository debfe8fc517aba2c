// The page's side of the service worker. Does nothing in the one file, which needs none.

import { keeper } from "../common/markup.js";
import { toast } from "../common/notices.js";
import { allOf, say } from "../common/words.js";

/** @type {ServiceWorkerRegistration | null} */
let registration = null;
let agreed = false;

/**
 * @typedef {object} Listeners
 * @property {(stored: { version: string }) => void} onReady every byte is stored and was checked just now: the page
 *   opens with no network
 * @property {() => void} onUpdate another version is stored and waits; it is used once takeUpdate() is called
 * @property {(parts: string[]) => void} onDamaged these parts of what is stored are missing or changed, and could not be had
 * @property {(reason: "one file" | "not supported" | "refused") => void} onUnavailable with nothing stored
 */

/**
 * Have a service worker keep the page, and tell how that goes.
 * @param {Partial<Listeners>} [listeners]
 */
export async function watch({ onReady = () => {}, onUpdate = () => {}, onDamaged = tellDamaged, onUnavailable = () => {} } = {}) {
  if (!document.documentElement.hasAttribute("data-installable")) return onUnavailable("one file");
  const container = navigator.serviceWorker;
  if (!container) return onUnavailable("not supported");
  await engineHasStarted(); // storing a version fetches all of it, which would slow the start
  try {
    registration = await container.register(keeper(), { updateViaCache: "none" });
  } catch {
    return onUnavailable("refused");
  }
  const registered = registration;
  container.addEventListener("controllerchange", () => {
    if (agreed) location.reload();
    else check(onReady, onDamaged);
  });
  const look = () => { if (registered.waiting && container.controller) onUpdate(); };
  /** @param {ServiceWorker | null} installing */
  const follow = (installing) => installing?.addEventListener("statechange", () => {
    look();
    if (installing.state === "redundant" && !registered.active) onUnavailable("refused"); // no room, or parts that don't fit
  });
  registered.addEventListener("updatefound", () => follow(registered.installing));
  follow(registered.installing);
  look();
  return check(onReady, onDamaged);
}

/** @type {Listeners["onDamaged"]} */
function tellDamaged(parts) {
  const wayOut = new URL("retire.html", location.href).href;
  toast(() => say("A part of the copy in this browser is missing or damaged: {parts}. With a network, reload the page to put it back. If you see this again, open {address}: it starts new, and what you wrote stays.", { parts: allOf(parts), address: wayOut }));
}

function engineHasStarted() {
  const page = document.documentElement;
  return /** @type {Promise<void>} */ (new Promise((resolve) => {
    const look = () => { if (page.dataset.engine !== "starting") resolve(); };
    new MutationObserver(look).observe(page, { attributeFilter: ["data-engine"] });
    look();
  }));
}

/** @param {Listeners["onReady"]} onReady @param {Listeners["onDamaged"]} onDamaged */
async function check(onReady, onDamaged) {
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = ({ data: { complete, version, missing } }) => (complete ? onReady({ version }) : onDamaged(missing));
  active?.postMessage("check", [port2]);
}

/** Use the waiting version: the page loads anew, so save what was typed before. */
export function takeUpdate() {
  agreed = true;
  registration?.waiting?.postMessage("take over");
}
