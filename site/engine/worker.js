// Runs Python: the only thread that does. A classic worker made from a Blob, because that is the one kind that
// opens from file:// in every browser tried. The build puts the decoder of zstd, memory_image.js and the
// runtime before this text, and a stand-in for importScripts, which the runtime looks at, before those.
//
// Messages in:   {start: {payload: text of signs or ArrayBuffer, snapshot: boolean, hashed: boolean}}
//                {id, request: JSON text}
//                {drop: id}                                       its answer is no longer wanted
// Messages out:  {payload: ArrayBuffer}                           a copy, where it shall be hashed: before anything else
//                {stage: "unpacking" | "starting", done, total}   bytes of payload dealt with
//                {ready: "snapshot" | "plain"}
//                {failed: text, damaged: boolean}                 damaged: the payload is not what the build made
//                {id, done, total}                                slices of the work on it that are done
//                {id, reply: JSON text}   or   {id, failed: text}   or   {id, dropped: true}
//
// An answer is worked out in slices. Between two of them the worker looks into its mail, so that a question nobody
// waits for any longer is dropped within one slice. Of several questions the newest is worked on; those before it go on
// where they were once it is answered.
//
// The payload: lengths of both frames as uint32, a zstd frame of pyodide.asm.wasm, a zstd frame of the image
// that bake.mjs packs: uint32 length of an index in JSON, the index, library, packages, pages of the snapshot.

"use strict";

const RUNTIME = "https://runtime.invalid/"; // never asked for: both files the runtime fetches are at hand
const SITE_PACKAGES = "/lib/python3.14/site-packages";
const HEADER_OF_SNAPSHOT = 128; // bytes before the memory itself
let python = null;
let answerInSteps = null;
const asked = []; // questions that want an answer, the newest last: {id, request, steps}
let isWorking = false;
const mail = new MessageChannel(); // a message to ourselves comes after those that wait already

/** Some of the payload is missing or changed. */
class Damaged extends Error {}

self.onmessage = async ({ data }) => {
  if (data.start) {
    try {
      self.postMessage({ ready: await start(data.start) });
    } catch (error) {
      self.postMessage({ failed: String(error?.message ?? error).slice(-2000), damaged: error instanceof Damaged });
    }
    return;
  }
  if (data.drop !== undefined) {
    const question = asked.find(({ id }) => id === data.drop);
    if (question) settle(question, { dropped: true });
    return;
  }
  asked.push({ ...data, steps: null });
  if (isWorking) return;
  isWorking = true;
  for (; asked.length; await mailRead()) workOn(asked.at(-1));
  isWorking = false;
};

/** Work on a question for one slice. */
function workOn(question) {
  const { id, request } = question;
  let outcome = null;
  try {
    if (!question.steps) question.steps = answerInSteps(request);
    const step = question.steps.next();
    if (step.done) {
      outcome = { reply: step.value };
    } else {
      const [done, total] = step.value.toJs();
      step.value.destroy();
      self.postMessage({ id, done, total });
    }
  } catch (error) {
    outcome = { failed: String(error?.message ?? error).slice(-2000) };
  }
  if (outcome) settle(question, outcome);
}

/** A question is done with: say so, and forget it. */
function settle(question, outcome) {
  self.postMessage({ id: question.id, ...outcome });
  asked.splice(asked.indexOf(question), 1);
  question.steps?.destroy();
}

function mailRead() {
  return new Promise((resolve) => {
    mail.port1.onmessage = resolve;
    mail.port2.postMessage(null);
  });
}

/** Start Python and say how: from the snapshot, or plainly where that was not wanted or did not work. */
async function start({ payload, snapshot, hashed }) {
  const bytes = typeof payload === "string" ? bytesOfSigns(payload) : new Uint8Array(payload);
  const [firstEnd, total] = endsOfFrames(bytes);
  if (hashed) {
    const copy = bytes.slice(0, total).buffer;
    self.postMessage({ payload: copy }, [copy]);
  }
  self.postMessage({ stage: "unpacking", done: 0, total });
  self.fetch = fromMemory({});
  const zstd = new ZSTDDecoder();
  await zstd.init();
  const decoded = (frame) => { // a frame carries a checksum; where it is wrong the decoder returns nothing
    const content = zstd.decode(frame);
    if (!content.length) throw new Damaged("this copy of the page is damaged: a checksum is wrong");
    return content;
  };
  const wasm = decoded(bytes.subarray(8, firstEnd));
  const compiled = WebAssembly.compile(wasm); // goes on in the background meanwhile
  self.postMessage({ stage: "unpacking", done: firstEnd, total });
  const image = unpack(decoded(bytes.subarray(firstEnd, total)), wasm, snapshot);
  self.postMessage({ stage: "starting", done: total, total });
  self.fetch = fromMemory({ "pyodide.asm.wasm": null, "python_stdlib.zip": image.library });
  WebAssembly.instantiateStreaming = async (response, imports) => {
    const module = await compiled;
    return { module, instance: await WebAssembly.instantiate(module, imports) };
  };
  if (image.snapshot) {
    try {
      await startPython(image, image.snapshot);
      return "snapshot";
    } catch (error) {
      console.warn("The snapshot could not be used, starting plainly:", error);
    }
  }
  await startPython(image, null);
  return "plain";
}

/** Where the two frames of the payload end; throws where some of it is missing. */
function endsOfFrames(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const firstEnd = bytes.length < 8 ? 0 : 8 + view.getUint32(0, true);
  const end = bytes.length < 8 ? 8 : firstEnd + view.getUint32(4, true);
  if (bytes.length < end) {
    throw new Damaged("this copy of the page is incomplete: the end of it is missing");
  }
  return [firstEnd, end];
}

/** What site/building/payload.py writes as signs: 13 bits in two digits of base 91, lowest bits first. */
function bytesOfSigns(text) {
  const digit = new Uint8Array(128);
  for (let code = 0x21, next = 0; code < 0x7f; code++) {
    if (code !== 0x3c && code !== 0x26 && code !== 0x22) digit[code] = next++; // all but < & "
  }
  const pairs = text.length >> 1;
  const bytes = new Uint8Array(Math.floor((pairs * 13) / 8));
  let bits = 0;
  let held = 0;
  let at = 0;
  for (let place = 0; place < 2 * pairs; place += 2) {
    bits |= (digit[text.charCodeAt(place)] * 91 + digit[text.charCodeAt(place + 1)]) << held;
    held += 13;
    while (held >= 8) {
      bytes[at++] = bits;
      bits >>>= 8;
      held -= 8;
    }
  }
  return bytes;
}

/** The parts of an image, each in memory of its own so that the image itself can go. */
function unpack(image, wasm, withSnapshot) {
  let at = 4 + new DataView(image.buffer, image.byteOffset).getUint32(0, true);
  const index = JSON.parse(new TextDecoder().decode(image.subarray(4, at)));
  const next = (length) => image.slice(at, (at += length));
  const library = next(index.library);
  const packages = index.packages.map(([name, length]) => [name, next(length)]);
  if (!withSnapshot) return { library, packages, snapshot: null };
  const { length, heapAt, page, pages } = index.snapshot;
  const snapshot = new Uint8Array(length);
  for (const [first, count] of pages) {
    const size = Math.min(count * page, length - first * page);
    snapshot.set(image.subarray(at, at + size), first * page);
    at += size;
  }
  xorStaticData(snapshot.subarray(heapAt), wasm);
  return { library, packages, snapshot };
}

/** A stand-in for fetch: data: addresses and the runtime's own files are at hand, anything else is refused. */
function fromMemory(files) {
  return async (address) => {
    const wanted = String(address?.url ?? address);
    if (wanted.startsWith("data:")) {
      return new Response(Uint8Array.from(atob(wanted.slice(wanted.indexOf(",") + 1)), (sign) => sign.charCodeAt(0)));
    }
    const name = wanted.startsWith(RUNTIME) ? wanted.slice(RUNTIME.length) : "";
    if (!Object.hasOwn(files, name)) throw new Error(`nothing is fetched here, not even ${wanted}`);
    return new Response(files[name]);
  };
}

async function startPython({ packages }, snapshot) {
  let trampoline = 0;
  python = await loadPyodide({
    indexURL: RUNTIME,
    packageBaseUrl: RUNTIME,
    createPyodideModule: async (settings) => {
      const module = await _createPyodideModule(settings);
      const missing = (snapshot?.length ?? 0) - module.HEAPU8.length;
      // The runtime restores into the memory it starts with, which may be less than it had when the image was made.
      if (missing > HEADER_OF_SNAPSHOT && !module._emscripten_resize_heap(snapshot.length)) {
        throw new Error("this browser has too little memory for the snapshot");
      }
      trampoline = module.HEAP32[placeOfTrampoline(module)];
      return module;
    },
    lockFileContents: { info: RUNTIME_INFO, packages: {} },
    env: { PYTHONHASHSEED: "0" },
    fsInit: async (FS) => {
      for (const [name, content] of packages) {
        const path = `${SITE_PACKAGES}/${name}`;
        FS.mkdirTree(path.slice(0, path.lastIndexOf("/")));
        FS.writeFile(path, content, { canOwn: true });
      }
    },
    ...(snapshot && { _loadSnapshot: snapshot }),
  });
  // A snapshot brings back the abilities and the random state of the machine that made it.
  python._module.HEAP32[placeOfTrampoline(python._module)] = trampoline;
  python.runPython("import random\nrandom.seed()");
  answerInSteps = python.pyimport("feedcalc.engine").answer_in_steps;
}
