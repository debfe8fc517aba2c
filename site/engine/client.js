// The page's side of the worker: starts it, asks it, ends it when it hangs. No arithmetic, no words for people.
//
//   feedcalcEngine.startEngine({ onStage, onReady, onFailed, patience, patienceAtStart, snapshot })
//       onStage({ name, done, total })    name: "fetching" | "unpacking" | "starting"; bytes dealt with and in all
//       onReady({ how, milliseconds })    how: "snapshot" | "plain"; comes again after every restart
//       onFailed({ message, cause })      Python can't start, here or now; restart() may be tried. cause: name of what
//                                         this browser has not, "WebAssembly", "Worker" or "DecompressionStream";
//                                         "damaged" where this copy of the page was cut or changed; or ""
//       patience                          milliseconds to wait for one answer before Python is restarted (15 000)
//       patienceAtStart                   milliseconds without a sign of life from a starting worker (60 000)
//       snapshot                          false starts Python plainly: slower, same answers
//   feedcalcEngine.ask(request, { line, onProgress })  promise of the reply object of `feedcalc.engine.calculate`
//       Of all asked on one line ("sheet" unless named) only the newest counts: an older one that has no answer
//       yet is rejected with an error named "Superseded". Others: "TimedOut" (Python hung and is being
//       restarted), "Failed" (Python can't be had). May be asked before the engine is ready: it waits.
//   feedcalcEngine.showProgress(bar, far)  puts onProgress's { done, total } on a progress element; null: nothing is under way
//   feedcalcEngine.restart()              end the worker and start another; what waits is asked again
//
// onProgress({ done, total }) comes now and then while a long answer is worked out. An answer under way is dropped as
// soon as something newer is asked on its line, and rests while something newer is worked out on another, so what is
// typed waits for one slice of it at most.
//
// <html data-engine> says "starting", "ready" or "failed". The payload and the program of the worker stand in the
// elements #engine-payload and #engine-program, as text (one file) or as an address to fetch (site). Their data-sha256
// is the hash of what is in them once it is unpacked. The program is held to it before it runs; the payload while
// Python starts, by this thread, which has nothing else to do: no answer comes before both are known to be whole. Where
// the browser gives no hashes (an address without encryption) lengths and the checksums of gzip and zstd are left.

"use strict";

const feedcalcEngine = (() => {
  const named = (name, message) => Object.assign(new Error(message), { name });
  const waiting = new Map(); // line -> {id, text, onProgress, resolve, reject}, the newest of each line
  let settings = {};
  let worker = null;
  let ready = false;
  let sent = []; // questions the worker has and has not answered, the newest last: {id, line}
  let at = null; // which of them it is at, as far as is known
  let hanging = 0; // timer of a worker that is at a question
  let lastId = 0;
  let startedAt = 0;
  let silence = 0; // timer of a starting worker
  let generation = 0; // counts workers, so that a late message of an ended one is known
  let whole = Promise.resolve(true); // whether the payload of this worker is what the build made
  let anew = false; // whether to ask past the browser's own copies, since those were damaged

  const mark = (state) => { document.documentElement.dataset.engine = state; };

  function startEngine(given = {}) {
    const silent = { onStage() {}, onReady() {}, onFailed() {} };
    settings = { ...silent, patience: 15000, patienceAtStart: 60000, snapshot: true, ...given };
    return launch();
  }

  async function launch() {
    endWorker();
    const mine = ++generation;
    startedAt = performance.now();
    whole = Promise.resolve(true);
    mark("starting");
    const lacking = whatIsLacking();
    if (lacking) return fail(lacking, lacking);
    try {
      const coming = payloadOfWorker(mine);
      coming.catch(() => {}); // heard below; the program may fail before
      const program = await programOfWorker();
      if (mine !== generation) return;
      worker = feedcalcMarkup.worker(program);
      worker.onmessage = ({ data }) => { if (mine === generation) heard(data); };
      worker.onerror = (event) => {
        event.preventDefault();
        if (mine === generation) crashed(event.message || "the worker stopped");
      };
      const payload = await coming;
      if (mine !== generation) return;
      const start = { payload, snapshot: settings.snapshot, hashed: canHash() };
      worker.postMessage({ start }, typeof payload === "string" ? [] : [payload]);
      awaitSign();
    } catch (error) {
      if (mine === generation) fail(String(error?.message ?? error), error?.name === "Damaged" ? "damaged" : "");
    }
  }

  function awaitSign() {
    clearTimeout(silence);
    silence = setTimeout(() => fail("Python gave no sign of life"), settings.patienceAtStart);
  }

  function endWorker() {
    clearTimeout(silence);
    worker?.terminate();
    worker = null;
    ready = false;
    sent = [];
    awaitWord();
  }

  /** The worker goes to its newest question; if it says nothing for too long, it hangs. */
  function awaitWord() {
    clearTimeout(hanging);
    at = sent.at(-1) ?? null;
    hanging = at ? setTimeout(hung, settings.patience) : 0;
  }

  function heard(message) {
    if (message.stage) {
      awaitSign();
      settings.onStage({ name: message.stage, done: message.done, total: message.total });
    } else if (message.payload) {
      holdToHash(message.payload);
    } else if (message.ready) {
      awake(message.ready);
    } else if (message.total !== undefined) {
      goesOn(message);
    } else if (message.id !== undefined) {
      answered(message);
    } else {
      startFailed(message.failed, message.damaged);
    }
  }

  async function holdToHash(payload) {
    const mine = generation;
    whole = isWhole("engine-payload", payload);
    if (!await whole && mine === generation) fail("the payload has another hash", "damaged");
  }

  async function awake(how) {
    const mine = generation;
    clearTimeout(silence);
    if (!await whole || mine !== generation) return; // that it is damaged was told
    ready = true;
    mark("ready");
    settings.onReady({ how, milliseconds: performance.now() - startedAt });
    sendAll();
  }

  async function startFailed(message, damaged = false) {
    const mine = generation;
    clearTimeout(silence);
    if (await whole && mine === generation) fail(message, damaged ? "damaged" : "");
  }

  /** The reply comes in the language of the page. English is what a request without one is answered in. */
  function inChosenLanguage(request) {
    return feedcalcWords.language === "en" ? request : { ...request, language: feedcalcWords.language };
  }

  function ask(request, { line = "sheet", onProgress = () => {} } = {}) {
    return new Promise((resolve, reject) => {
      const older = waiting.get(line);
      older?.reject(named("Superseded", "a newer request took its place"));
      if (sent.some(({ id }) => id === older?.id)) worker.postMessage({ drop: older.id });
      waiting.set(line, { id: ++lastId, text: JSON.stringify(inChosenLanguage(request)), onProgress, resolve, reject });
      if (document.documentElement.dataset.engine === "failed") settle(line, lastId)?.reject(named("Failed", "no engine"));
      else sendAll();
    });
  }

  /** Whatever the worker has not got yet, in the order it was asked. */
  function sendAll() {
    if (!ready) return;
    const fresh = [...waiting].filter(([, { id }]) => !sent.some((known) => known.id === id));
    for (const [line, { id, text }] of fresh.sort(([, one], [, other]) => one.id - other.id)) {
      sent.push({ id, line });
      worker.postMessage({ id, request: text });
    }
    if (!at) awaitWord();
  }

  function goesOn({ id, done, total }) {
    awaitWord();
    const entry = waiting.get(sent.find((known) => known.id === id)?.line);
    if (entry?.id === id) entry.onProgress({ done, total });
  }

  /** Take the entry with this id off its line, if it is still the newest there. */
  function settle(line, id) {
    const entry = waiting.get(line);
    if (entry?.id !== id) return null;
    waiting.delete(line);
    return entry;
  }

  function answered({ id, reply, failed }) {
    const entry = settle(sent.find((known) => known.id === id)?.line, id);
    sent = sent.filter((known) => known.id !== id);
    awaitWord();
    if (reply !== undefined) entry?.resolve(JSON.parse(reply));
    else entry?.reject(named("Failed", failed)); // of what was dropped nobody waits any longer
  }

  function hung() {
    settle(at.line, at.id)?.reject(named("TimedOut", "no answer in time"));
    launch();
  }

  function crashed(message) {
    if (!ready) return startFailed(message);
    if (at) settle(at.line, at.id)?.reject(named("Failed", message));
    return launch();
  }

  function whatIsLacking() {
    const packed = !document.getElementById("engine-program").dataset.address;
    return ["WebAssembly", "Worker", ...(packed ? ["DecompressionStream"] : [])].find((name) => !window[name]) ?? "";
  }

  function fail(message, cause = "") {
    generation += 1; // what is still being fetched tells of no progress any more
    anew ||= cause === "damaged";
    endWorker();
    mark("failed");
    for (const [line, { id }] of [...waiting]) settle(line, id).reject(named("Failed", message));
    settings.onFailed({ message, cause });
  }

  const damaged = (message) => named("Damaged", message);
  const canHash = () => Boolean(window.crypto?.subtle);

  /** Whether the bytes that were in an element are those the build made; true where this browser can't tell. */
  async function isWhole(name, bytes) {
    if (!canHash()) return true;
    const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
    const digits = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return digits === document.getElementById(name).dataset.sha256;
  }

  async function programOfWorker() {
    const element = document.getElementById("engine-program");
    const program = await (element.dataset.address ? fetched(element) : unpacked(element.textContent));
    if (!await isWhole("engine-program", program)) throw damaged("the program has another hash");
    return new TextDecoder().decode(program);
  }

  async function unpacked(text) {
    try {
      const packed = Uint8Array.from(atob(text), (character) => character.charCodeAt(0));
      const stream = new DecompressionStream("gzip");
      const writer = stream.writable.getWriter();
      writer.write(packed).catch(() => {}); // what is wrong with it is said where it is read
      writer.close().catch(() => {});
      return await new Response(stream.readable).arrayBuffer();
    } catch (error) {
      throw damaged(`the program can't be unpacked: ${error.message}`);
    }
  }

  async function payloadOfWorker(mine) {
    if (document.readyState === "loading") { // the payload comes last, and the worker wakes while it is read
      await new Promise((resolve) => document.addEventListener("DOMContentLoaded", resolve, { once: true }));
    }
    const element = document.getElementById("engine-payload");
    if (!element) throw damaged("the page ends before the payload");
    return element.dataset.address
      ? fetched(element, (done, total) => { if (mine === generation) settings.onStage({ name: "fetching", done, total }); })
      : element.textContent;
  }

  /** The bytes behind the address an element names; onProgress(done, total) is told as they come. */
  async function fetched(element, onProgress) {
    const response = await fetch(element.dataset.address, { cache: anew ? "reload" : "default" });
    if (!response.ok) throw new Error(`${element.dataset.address}: ${response.status}`);
    const total = Number(element.dataset.bytes);
    const bytes = new Uint8Array(total);
    const reader = response.body.getReader();
    let done = 0;
    for (let part = await reader.read(); !part.done; part = await reader.read()) {
      if (done + part.value.length > total) throw damaged(`${element.dataset.address}, too long`);
      bytes.set(part.value, done);
      done += part.value.length;
      onProgress?.(done, total);
    }
    if (done !== total) throw damaged(`${element.dataset.address}, ${done} of ${total} bytes`);
    return bytes.buffer;
  }

  function showProgress(bar, far) {
    bar.classList.toggle("going", Boolean(far));
    bar.max = far?.total ?? 1;
    bar.value = far?.done ?? 0;
  }

  return { startEngine, ask, showProgress, restart: launch };
})();
