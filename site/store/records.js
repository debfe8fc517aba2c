// The season book, kept in this browser. Knows no page, no chemistry, and does no merging: the engine does that.
//
// A record is { id, kind, fields: { name: { text, at, by } }, history: [{ field, text, at, by }] }, as in a file.
//
//   feedcalcBookKeeping.open()            promise of the state; may be asked again, reads anew
//   feedcalcBookKeeping.all(kind)         records as last read or written, of one kind or of all
//   feedcalcBookKeeping.broken()          [{ id, raw }] what is stored but is no record; it is never deleted, and where
//       a record of that id comes back from a file, it is laid into a store of its own beside the book
//   feedcalcBookKeeping.state()           { place: "browser" | "memory", why } why: "" | "refused" | "newer" | "full"
//   feedcalcBookKeeping.put(records)      promise of "kept" | "memory" | "stale"; all in one transaction or none.
//       "stale": another window has written one of them since it was read here; nothing was put, all is read anew
//   feedcalcBookKeeping.envelope(records) text of the book, as the engine and a file take it
//   feedcalcBookKeeping.stamp(records)    a time for a change: later than any told before and than all in `records`
//   feedcalcBookKeeping.device()          an id of this browser, told to nobody but the book
//   feedcalcBookKeeping.newId()
//   feedcalcBookKeeping.watch(onChange)   another window wrote; all is read anew before it is told
//   feedcalcBookKeeping.draft(key)        what was being typed: { key: text }, or null
//   feedcalcBookKeeping.drafts()          { key: draft }
//   feedcalcBookKeeping.keepDraft(key, draft)    at once, also while the tab is being closed; null takes it away
//   feedcalcBookKeeping.journal()         changes asked for and not yet known to be in the book, oldest first
//   feedcalcBookKeeping.addToJournal(change)     true if it is kept; each has a `key`
//   feedcalcBookKeeping.takeFromJournal(key)
//
// Rules: a change goes into the journal before the engine is asked, and leaves it when the database has it; so it
// outlives a sleeping engine, a killed tab and a refused database. The same change made twice gives the same book,
// because its time and writer are fixed when it is asked for. Journal and drafts stand in localStorage, which is
// written while a tab is being closed, and beside it in the database, because a browser writes localStorage to the
// disk only seconds later and would lose it if it were killed itself.

"use strict";

const feedcalcBookKeeping = (() => {
  const DATABASE = "feedcalc.book";
  const STORE = "records";
  const ASIDE = "set aside";
  const TYPED = "typed";
  const DRAFT = "feedcalc.book.draft.";
  const JOURNAL = "feedcalc.book.journal.";
  const DEVICE = "feedcalc.book.device";
  const LATEST = "feedcalc.book.latest";
  const CHANGED = "feedcalc.book.changed";
  const FORMAT = "feedcalc season book";
  const VERSION = 1;
  const KINDS = ["bed", "soil test", "entry", "ash", "metals"];
  const STAMP = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$/;
  const PATIENCE = 8000; // milliseconds for a database to open; a browser that neither opens nor refuses is refused
  // From each version of the database to the next.
  const UPGRADES = [
    (opened) => {
      opened.createObjectStore(STORE, { keyPath: "id" });
      opened.createObjectStore(ASIDE, { autoIncrement: true });
      opened.createObjectStore(TYPED);
    },
  ];

  let database = null;
  let why = "";
  let records = new Map(); // id -> record
  let stored = new Map(); // id -> text of what the database held when it was read or written here
  let unreadable = [];
  let device = "";
  let latest = 0;
  let changes = 0; // counts what this window wrote, so that the mark for other windows always differs

  // ---- The database ---------------------------------------------------------------------------------------

  async function open() {
    if (!database) await connect();
    if (database) await readAll();
    return state();
  }

  function connect() {
    return new Promise((resolve) => {
      const refused = (reason) => {
        why = reason;
        clearTimeout(tooLong);
        resolve();
      };
      const tooLong = setTimeout(() => refused("refused"), PATIENCE);
      let opening;
      try {
        opening = indexedDB.open(DATABASE, UPGRADES.length);
      } catch {
        return refused("refused");
      }
      opening.onupgradeneeded = ({ oldVersion }) => {
        for (const upgrade of UPGRADES.slice(oldVersion)) upgrade(opening.result);
      };
      opening.onerror = (event) => {
        event.preventDefault();
        refused(opening.error?.name === "VersionError" ? "newer" : "refused");
      };
      opening.onsuccess = () => {
        database = opening.result;
        why = "";
        // A newer page in another window wants to upgrade: it may; this one then goes on in memory.
        database.onversionchange = () => lose("newer");
        database.onclose = () => lose("refused");
        clearTimeout(tooLong);
        bringBackTyped().catch(() => {}).then(resolve);
      };
      return undefined;
    });
  }

  function lose(reason) {
    database?.close();
    database = null;
    why = reason;
  }

  async function readAll() {
    let found;
    try {
      found = await done(database.transaction(STORE).objectStore(STORE).getAll());
    } catch {
      return lose("refused");
    }
    const unkept = [...records.values()].filter(({ id }) => !stored.has(id)); // what only memory has
    records = new Map(unkept.map((record) => [record.id, record]));
    stored = new Map();
    unreadable = [];
    for (const value of found) {
      if (isRecord(value)) {
        records.set(value.id, value);
        stored.set(value.id, textOf(value));
      } else {
        unreadable.push({ id: String(value?.id), raw: value });
      }
    }
    return undefined;
  }

  const done = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  async function put(given) {
    if (!database) return inMemory(given);
    const ids = new Set(given.map(({ id }) => id));
    const changed = [...all().filter(({ id }) => !stored.has(id) && !ids.has(id)), ...given];
    let outcome;
    try {
      outcome = await write(changed);
    } catch (error) {
      const full = error?.name === "QuotaExceededError";
      if (!full) lose("refused");
      why = full ? "full" : "refused";
      return inMemory(changed);
    }
    if (outcome === "stale") {
      await readAll();
      return "stale";
    }
    why = "";
    for (const record of changed) {
      records.set(record.id, record);
      stored.set(record.id, textOf(record));
    }
    unreadable = unreadable.filter(({ id }) => !stored.has(id));
    tellOthers();
    return "kept";
  }

  function inMemory(changed) {
    for (const record of changed) {
      records.set(record.id, record);
      stored.delete(record.id);
    }
    return "memory";
  }

  /** All of `changed` in one transaction, unless one of them is no longer as it was read here. */
  function write(changed) {
    return new Promise((resolve, reject) => {
      const transaction = database.transaction([STORE, ASIDE], "readwrite", { durability: "strict" });
      const place = transaction.objectStore(STORE);
      let stale = false;
      transaction.oncomplete = () => resolve("kept");
      transaction.onabort = () => (stale ? resolve("stale") : reject(transaction.error));
      for (const record of changed) {
        const reading = place.get(record.id);
        reading.onsuccess = () => {
          const there = reading.result;
          const asItWas = there === undefined ? !stored.has(record.id)
            : !isRecord(there) || [stored.get(record.id), textOf(record)].includes(textOf(there));
          if (stale) return;
          if (!asItWas) {
            stale = true;
            transaction.abort();
            return;
          }
          if (there !== undefined && !isRecord(there)) transaction.objectStore(ASIDE).add(there);
          place.put(record);
        };
      }
    });
  }

  // ---- Records --------------------------------------------------------------------------------------------

  const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
  const isWritten = (value) => isObject(value) && typeof value.text === "string" && typeof value.by === "string"
    && typeof value.at === "string" && STAMP.test(value.at);

  function isRecord(value) {
    return isObject(value) && typeof value.id === "string" && /^[\w-]{1,64}$/.test(value.id) && KINDS.includes(value.kind)
      && isObject(value.fields) && Object.values(value.fields).every(isWritten)
      && Array.isArray(value.history) && value.history.every((past) => isWritten(past) && typeof past.field === "string");
  }

  /** The same text for the same record, whatever the order its parts are held in. */
  function textOf(value) {
    return JSON.stringify(value, (_, part) => (isObject(part) ? Object.fromEntries(Object.entries(part).sort()) : part));
  }

  function all(kind = "") {
    return [...records.values()].filter((record) => !kind || record.kind === kind);
  }

  const envelope = (chosen = all()) => JSON.stringify({ format: FORMAT, version: VERSION, records: chosen });
  const broken = () => unreadable;
  const state = () => ({ place: database && why !== "full" ? "browser" : "memory", why });

  // ---- Who and when ---------------------------------------------------------------------------------------

  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(12));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function whoIsThis() {
    if (device) return device;
    device = read(DEVICE) ?? "";
    if (!/^[\w-]{1,64}$/.test(device)) {
      device = newId();
      keep(DEVICE, device);
    }
    return device;
  }

  /** A clock that was set back, or another device's that runs ahead, must not make a change look old. */
  function stamp(chosen = []) {
    const known = (times) => times.map((at) => Date.parse(at)).filter(Number.isFinite);
    latest = Math.max(Date.now(), latest + 1, ...known([read(LATEST) ?? ""]).map((moment) => moment + 1));
    keep(LATEST, new Date(latest).toISOString());
    const told = known(chosen.flatMap(({ fields }) => Object.values(fields).map(({ at }) => at)));
    return new Date(Math.max(latest, ...told.map((moment) => moment + 1))).toISOString();
  }

  // ---- Small things, written at once ----------------------------------------------------------------------

  function read(key) {
    try {
      return localStorage.getItem(key);
    } catch {
      return null;
    }
  }

  function keep(key, text) {
    try {
      if (text === null) localStorage.removeItem(key);
      else localStorage.setItem(key, text);
      return true;
    } catch {
      return false;
    }
  }

  /** What stands under keys with this beginning, without it; what is not an object of ours is left alone. */
  function under(beginning) {
    const found = {};
    try {
      for (let place = 0; place < localStorage.length; place++) {
        const key = localStorage.key(place);
        if (!key.startsWith(beginning)) continue;
        try {
          const value = JSON.parse(localStorage.getItem(key));
          if (isObject(value)) found[key.slice(beginning.length)] = value;
        } catch { /* left where it is */ }
      }
    } catch { /* refused */ }
    return found;
  }

  const drafts = () => under(DRAFT);
  const draft = (key) => drafts()[key] ?? null;
  const keepDraft = (key, typed) => keepTwice(DRAFT + key, typed && JSON.stringify(typed));
  const journal = () => Object.values(under(JOURNAL)).filter(isChange).sort((one, other) => (one.at > other.at ? 1 : -1));
  const addToJournal = (change) => keepTwice(JOURNAL + change.key, JSON.stringify(change));
  const takeFromJournal = (key) => keepTwice(JOURNAL + key, null);

  const isChange = ({ key, at, by, id, kind, fields }) => [key, at, by, id, kind].every((text) => typeof text === "string")
    && STAMP.test(at) && KINDS.includes(kind) && isObject(fields) && Object.values(fields).every((text) => typeof text === "string");

  // What is taken away leaves an empty text in localStorage until the database has let go of it as well; else a
  // window closed between the two would bring it back.
  const GONE = "";

  function keepTwice(key, text) {
    const held = keep(key, text ?? (database ? GONE : null));
    try {
      const change = database?.transaction(TYPED, "readwrite", { durability: "relaxed" });
      const place = change?.objectStore(TYPED);
      if (text === null) place?.delete(key);
      else place?.put(text, key);
      change?.addEventListener("complete", () => { if (read(key) === GONE) keep(key, null); });
    } catch { /* the database is being closed: localStorage has it */ }
    return held;
  }

  async function bringBackTyped() {
    const place = database.transaction(TYPED).objectStore(TYPED);
    const [keys, texts] = await Promise.all([done(place.getAllKeys()), done(place.getAll())]);
    keys.forEach((key, at) => {
      if (read(key) === GONE) keepTwice(key, null);
      else if (read(key) === null) keep(key, texts[at]);
    });
  }

  // ---- Other windows --------------------------------------------------------------------------------------

  let channel = null;
  try {
    channel = new BroadcastChannel(DATABASE);
  } catch { /* then the mark in localStorage tells them */ }

  function tellOthers() {
    keep(CHANGED, `${whoIsThis()} ${Date.now()} ${(changes += 1)}`);
    channel?.postMessage("changed");
  }

  function watch(onChange) {
    let seen = read(CHANGED);
    const look = async () => {
      seen = read(CHANGED);
      await open();
      onChange();
    };
    if (channel) channel.addEventListener("message", look);
    else window.addEventListener("storage", ({ key }) => { if (key === null || key === CHANGED) look(); });
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible" && seen !== read(CHANGED)) look();
    });
  }

  return {
    open, all, broken, state, put, envelope, stamp, device: whoIsThis, newId, watch,
    draft, drafts, keepDraft, journal, addToJournal, takeFromJournal,
  };
})();
