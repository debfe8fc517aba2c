// What was typed, kept: batches in this browser, in files and in links. Knows no page and no chemistry.
//
// A batch is { id, name, request, done, changed }: `request` is what feedcalc.engine.calculate takes, `done` the
// names of the steps ticked off, `changed` a time that tells the newer of two copies.
//
//   feedcalcKeeping.open()            batches stored here, newest first; unreadable ones are left where they are
//   feedcalcKeeping.unreadable()      { key: text } of what is stored here as a batch and is none
//   feedcalcKeeping.store(batch)      true if it is kept; false where the browser is full or refuses
//   feedcalcKeeping.see(batch)        this window shows what is stored of it
//   feedcalcKeeping.unseen(batch)     what another window stored of it that this one has not seen, or null
//   feedcalcKeeping.remove(id)
//   feedcalcKeeping.watch(onChange)   another window changed something
//   feedcalcKeeping.envelope(batches) text of a file: {"format": "feedcalc batches", "version": 1, "batches": [...]}
//   feedcalcKeeping.read(text)        { batches } or { problem: words }; also takes a bare request
//   feedcalcKeeping.link(batch)       fragment of an address, without #
//   feedcalcKeeping.readLink(hash)    as read(), or null where there is no batch in it
//
// Each batch has a key of its own, so that two windows at two batches never overwrite each other. localStorage is
// taken because it works from file:// and writes at once, even while the page is being closed.

"use strict";

const feedcalcKeeping = (() => {
  const KEY = "feedcalc.batch.";
  const FORMAT = "feedcalc batches";
  const VERSION = 1;
  const LONGEST = 2000000;
  const DEEPEST = 20; // levels in a request; kept readings of an ash take six
  const seen = new Map(); // id -> what this window last showed or stored of a batch
  // From each older version to the next. Version 0 is a bare request, such as the command line reads.
  const MIGRATIONS = {
    0: (request) => ({ format: FORMAT, version: 1, batches: [{ name: "", request }] }),
  };

  function open() {
    const found = stored().map(([, text]) => wellFormed(parsed(text))).filter(Boolean);
    return found.sort((one, other) => (other.changed > one.changed ? 1 : -1));
  }

  const unreadable = () => Object.fromEntries(stored().filter(([, text]) => !wellFormed(parsed(text))));

  /** [key, text] of all that is stored under the keys of batches; nothing where storage is refused. */
  function stored() {
    try {
      return Object.keys(localStorage).filter((key) => key.startsWith(KEY)).map((key) => [key, localStorage.getItem(key)]);
    } catch {
      return [];
    }
  }

  function store(batch) {
    try {
      localStorage.setItem(KEY + batch.id, JSON.stringify(batch));
    } catch {
      return false;
    }
    see(batch);
    return true;
  }

  const contentOf = ({ name, request, done }) => JSON.stringify([name, request, done]);
  const see = (batch) => { seen.set(batch.id, contentOf(batch)); };

  function unseen(batch) {
    let there = null;
    try {
      there = wellFormed(parsed(localStorage.getItem(KEY + batch.id)));
    } catch { /* storage is refused: no other window can have used it */ }
    return there && ![seen.get(batch.id), contentOf(batch)].includes(contentOf(there)) ? there : null;
  }

  function remove(id) {
    try {
      localStorage.removeItem(KEY + id);
    } catch { /* nothing is stored where storage is refused */ }
  }

  function watch(onChange) {
    window.addEventListener("storage", ({ key }) => { if (key === null || key.startsWith(KEY)) onChange(); });
  }

  function parsed(text) {
    try {
      return JSON.parse(text);
    } catch {
      return undefined;
    }
  }

  const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);

  /** Whether something is nested deeper than any request is, so deep that walking it could break the page. */
  function isTooDeep(value) {
    let level = [value];
    for (let depth = 0; depth < DEEPEST; depth++) level = level.flatMap((each) => (typeof each === "object" && each ? Object.values(each) : []));
    return level.length > 0;
  }

  /** A batch made of what is usable in `value`, or null. */
  function wellFormed(value) {
    if (!isObject(value) || !isObject(value.request) || isTooDeep(value.request)) return null;
    return {
      id: typeof value.id === "string" && /^[\w-]{1,64}$/.test(value.id) ? value.id : crypto.randomUUID?.() ?? String(Math.random()).slice(2),
      name: typeof value.name === "string" ? value.name.slice(0, 80) : "",
      request: value.request,
      done: Array.isArray(value.done) ? value.done.filter((step) => typeof step === "string").slice(0, 50) : [],
      changed: typeof value.changed === "string" ? value.changed : "",
    };
  }

  function envelope(batches) {
    return JSON.stringify({ format: FORMAT, version: VERSION, batches }, null, 1) + "\n";
  }

  function read(text) {
    if (text.length > LONGEST) return { problem: feedcalcWords.say("This file is far too long to hold batches.") };
    let document = parsed(text);
    if (!isObject(document)) return { problem: feedcalcWords.say("This is not a file of batches: it is not a JSON object.") };
    let version = document.format === FORMAT ? document.version : document.schema === 1 ? 0 : undefined;
    if (!Number.isInteger(version)) return { problem: feedcalcWords.say("This is JSON, but not a file of batches.") };
    if (version > VERSION) return { problem: feedcalcWords.say("A newer feedcalc wrote this file. Open it with that one.") };
    for (; version < VERSION; version++) document = MIGRATIONS[version](document);
    if (!Array.isArray(document.batches)) return { problem: feedcalcWords.say("There are no batches in this file.") };
    const batches = document.batches.map(wellFormed).filter(Boolean);
    if (!batches.length) return { problem: feedcalcWords.say("There is no readable batch in this file.") };
    return { batches, unreadable: document.batches.length !== batches.length };
  }

  function link({ name, request }) {
    const bytes = new TextEncoder().encode(envelope([{ name, request }]));
    const base64 = btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
    return "batch=" + base64.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
  }

  function readLink(hash) {
    const found = /^#?batch=([\w-]+)$/.exec(hash);
    if (!found) return null;
    try {
      const binary = atob(found[1].replaceAll("-", "+").replaceAll("_", "/"));
      const text = new TextDecoder("utf-8", { fatal: true }).decode(Uint8Array.from(binary, (c) => c.charCodeAt(0)));
      const carried = read(text);
      if (!carried.problem) return carried;
    } catch { /* said below */ }
    return { problem: feedcalcWords.say("The batch in this link can't be read: it is damaged, or a newer feedcalc made it.") };
  }

  return { open, unreadable, store, see, unseen, remove, watch, envelope, read, link, readLink };
})();
