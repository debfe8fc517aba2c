// The page's side of the service worker. Does nothing in the one file, which needs none.

import { keeper } from "../common/markup.js";

/** @type {ServiceWorkerRegistration | null} */
let registration = null;
let agreed = false;

/**
 * @typedef {object} Listeners
 * @property {(stored: { version: string }) => void} onReady every byte is stored and was checked just now: the page
 *   opens with no network
 * @property {() => void} onUpdate another version is stored and waits; it is used once takeUpdate() is called
 * @property {(reason: "one file" | "not supported" | "refused") => void} onUnavailable with nothing stored
 */

/**
 * Have a service worker keep the page, and tell how that goes.
 * @param {Partial<Listeners>} [listeners]
 */
export async function watch({ onReady = () => {}, onUpdate = () => {}, onUnavailable = () => {} } = {}) {
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
    else check(onReady);
  });
  const look = () => { if (registered.waiting && container.controller) onUpdate(); };
  /** @param {ServiceWorker | null} installing */
  const follow = (installing) => installing?.addEventListener("statechange", look);
  registered.addEventListener("updatefound", () => follow(registered.installing));
  follow(registered.installing);
  look();
  return check(onReady);
}

function engineHasStarted() {
  const page = document.documentElement;
  return /** @type {Promise<void>} */ (new Promise((resolve) => {
    const look = () => { if (page.dataset.engine !== "starting") resolve(); };
    new MutationObserver(look).observe(page, { attributeFilter: ["data-engine"] });
    look();
  }));
}

/** @param {Listeners["onReady"]} onReady */
async function check(onReady) {
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = ({ data }) => { if (data.complete) onReady({ version: data.version }); };
  active?.postMessage("check", [port2]);
}

/** Use the waiting version: the page loads anew, so save what was typed before. */
export function takeUpdate() {
  agreed = true;
  registration?.waiting?.postMessage("take over");
}
