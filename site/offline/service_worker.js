// Keeps the installed page working with no network, and never mixes two versions.
//
// Rules: the build puts VERSION (a hash over all files) and FILES (path relative to this file -> SHA-256 in hexadecimal)
// before this text. A version is stored as a whole, in a cache of its own, or not at all. A new version waits until the
// page says the person agreed. A part that is missing or is not what the build made is fetched, held to its hash and put
// back: when it is asked for, and when the page has all of them checked. The page holds its payload to its hash itself and
// asks for it anew, past what is kept. retire.html is never answered from here: it is the way out if
// anything in here is ever wrong.
//
// Messages in, each with a port to answer on: "check" -> {version, complete, missing: paths}; "take over" -> no answer.

/* global VERSION, FILES */

const OURS = `feedcalc ${self.registration.scope} `; // other copies on the same host keep their own
const CACHE = OURS + VERSION;
const PAGE = "index.html";
const HELD_BY_PAGE = /^payload\./;
const NO_PAGE = `<!DOCTYPE html><meta charset="utf-8"><title>feedcalc</title>
<p>The copy of feedcalc in this browser lost a part: index.html. It is fetched again once there is a network: then load
this page anew. If that does not help, <a href="retire.html">start afresh</a>. Batches and the season book stay.</p>`;
const addressOf = (path) => new URL(path, self.registration.scope).href;

let mended = Promise.resolve(); // checks are made one after another: two at once would fetch a missing part twice

self.addEventListener("install", (event) => event.waitUntil(store()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", (event) => {
  const path = pathInCache(event.request);
  if (path) event.respondWith(fromCache(path, event.request));
});
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "check") {
    mended = mended.then(mend, mend);
    event.waitUntil(mended.then((missing) => {
      event.ports[0].postMessage({ version: VERSION, complete: !missing.length, missing });
    }));
  }
});

async function store() {
  try {
    for (const path of Object.keys(FILES)) await fetchPart(path, "no-cache");
  } catch (error) {
    await caches.delete(CACHE); // a part of a version is of no use
    throw error;
  }
}

/** Fetch a part, hold it to its hash and store it; return it, or throw. */
async function fetchPart(path, cache) {
  const response = await fetch(addressOf(path), { cache, redirect: "error" });
  if (!response.ok) throw new Error(`${path}: ${response.status}`);
  const bytes = await response.arrayBuffer();
  if (await sha256(bytes) !== FILES[path]) throw new Error(`${path} is not the file of this version`);
  const type = response.headers.get("content-type");
  const part = new Response(bytes, { headers: type ? { "content-type": type } : {} });
  await (await caches.open(CACHE)).put(addressOf(path), part.clone());
  return part;
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
  const part = await stored(path);
  const isTrusted = HELD_BY_PAGE.test(path) ? part && request.cache !== "reload" : await isWhole(part, path);
  if (isTrusted) return part;
  try {
    return await fetchPart(path, "reload");
  } catch {
    return fetch(request).catch((error) => { // what the host has now is of another version, and stored by none
      if (path === PAGE) return new Response(NO_PAGE, { headers: { "content-type": "text/html" } });
      if (part) return part;
      throw error;
    });
  }
}

const stored = async (path) => (await caches.open(CACHE)).match(addressOf(path));

async function isWhole(part, path) {
  return Boolean(part) && await sha256(await part.clone().arrayBuffer()) === FILES[path];
}

/** Put back what is missing or damaged; return the paths of what could not be had. */
async function mend() {
  const missing = [];
  for (const path of Object.keys(FILES)) {
    if (await isWhole(await stored(path), path)) continue;
    await fetchPart(path, "reload").catch(() => missing.push(path));
  }
  return missing;
}

async function sha256(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
}
