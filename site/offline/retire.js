// The way out of a kept copy that does not work: drop every service worker and cache of this folder.

"use strict";

document.getElementById("retire").addEventListener("click", async () => {
  const here = new URL("./", location.href).href;
  for (const registration of await navigator.serviceWorker.getRegistrations()) {
    if (registration.scope === here) await registration.unregister();
  }
  for (const name of await caches.keys()) if (name.startsWith(`feedcalc ${here} `)) await caches.delete(name);
  location.replace(here);
});
