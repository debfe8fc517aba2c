// Keeps the installed page working with no network, and never mixes two versions.
//
// Rules: the build puts VERSION (a hash over all files) and FILES (path relative to this file -> SHA-256 in hexadecimal)
// before this text. A version is stored as a whole, in a cache of its own, or not at all. A new version waits until the
// page says the person agreed. retire.html is never answered from here: it is the way out if anything in here is ever wrong.
//
// Messages in, each with a port to answer on: "check" -> {version, complete}; "take over" -> no answer.

/* global VERSION, FILES */

const OURS = `feedcalc ${self.registration.scope} `; // other copies on the same host keep their own
const CACHE = OURS + VERSION;
const PAGE = "index.html";
const addressOf = (path) => new URL(path, self.registration.scope).href;

self.addEventListener("install", (event) => event.waitUntil(store()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", (event) => {
  const path = pathInCache(event.request);
  if (path) event.respondWith(fromCache(path, event.request));
});
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "check") {
    event.waitUntil(isComplete().then((complete) => event.ports[0].postMessage({ version: VERSION, complete })));
  }
});

async function store() {
  try {
    const cache = await caches.open(CACHE);
    for (const [path, expected] of Object.entries(FILES)) {
      const response = await fetch(addressOf(path), { cache: "no-cache", redirect: "error" });
      if (!response.ok) throw new Error(`${path}: ${response.status}`);
      const bytes = await response.arrayBuffer();
      if (await sha256(bytes) !== expected) throw new Error(`${path} is not the file of this version`);
      const type = response.headers.get("content-type");
      await cache.put(addressOf(path), new Response(bytes, { headers: type ? { "content-type": type } : {} }));
    }
  } catch (error) {
    await caches.delete(CACHE); // a part of a version is of no use
    throw error;
  }
}

async function takeOver() {
  for (const name of await caches.keys()) {
    if (name.startsWith(OURS) && name !== CACHE) await caches.delete(name);
  }
  await self.clients.claim();
}

function pathInCache(request) {
  if (request.method !== "GET" || !request.url.startsWith(self.registration.scope)) return null;
  const path = new URL(request.url).href.slice(self.registration.scope.length).replace(/[?#].*$/, "") || PAGE;
  return Object.hasOwn(FILES, path) ? path : null;
}

async function fromCache(path, request) {
  const stored = await (await caches.open(CACHE)).match(addressOf(path));
  if (stored && request.cache !== "reload") return stored; // "reload": what is kept was found damaged
  return fetch(request).catch((error) => {
    if (stored) return stored;
    throw error;
  });
}

async function isComplete() {
  const cache = await caches.open(CACHE);
  for (const [path, expected] of Object.entries(FILES)) {
    const stored = await cache.match(addressOf(path));
    if (!stored || await sha256(await stored.arrayBuffer()) !== expected) return false;
  }
  return true;
}

async function sha256(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
}
