// The page's side of the service worker. Does nothing in the one file, which needs none.
//
//   feedcalcOffline.watch({ onReady, onUpdate, onUnavailable })
//       onReady({ version })     every byte is stored and was checked just now: the page opens with no network
//       onUpdate()               another version is stored and waits; it is used once takeUpdate() is called
//       onUnavailable(reason)    "one file" | "not supported" | "refused" (with nothing stored)
//   feedcalcOffline.takeUpdate() use the waiting version: the page loads anew, so save what was typed before

"use strict";

const feedcalcOffline = (() => {
  let registration = null;
  let agreed = false;

  async function watch({ onReady = () => {}, onUpdate = () => {}, onUnavailable = () => {} } = {}) {
    if (!document.documentElement.hasAttribute("data-installable")) return onUnavailable("one file");
    if (!navigator.serviceWorker) return onUnavailable("not supported");
    await engineHasStarted(); // storing a version fetches all of it, which would slow the start
    try {
      registration = await navigator.serviceWorker.register(feedcalcMarkup.keeper(), { updateViaCache: "none" });
    } catch {
      return onUnavailable("refused");
    }
    navigator.serviceWorker.addEventListener("controllerchange", () => {
      if (agreed) location.reload();
      else check(onReady);
    });
    const look = () => { if (registration.waiting && navigator.serviceWorker.controller) onUpdate(); };
    const follow = (installing) => installing?.addEventListener("statechange", look);
    registration.addEventListener("updatefound", () => follow(registration.installing));
    follow(registration.installing);
    look();
    return check(onReady);
  }

  function engineHasStarted() {
    const page = document.documentElement;
    return new Promise((resolve) => {
      const look = () => { if (page.dataset.engine !== "starting") resolve(); };
      new MutationObserver(look).observe(page, { attributeFilter: ["data-engine"] });
      look();
    });
  }

  async function check(onReady) {
    const { active } = await navigator.serviceWorker.ready;
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = ({ data }) => { if (data.complete) onReady({ version: data.version }); };
    active.postMessage("check", [port2]);
  }

  function takeUpdate() {
    agreed = true;
    registration?.waiting?.postMessage("take over");
  }

  return { watch, takeUpdate };
})();
