// Runs Python: the only thread that does. A classic worker made from a Blob, because that is the one kind that opens
// from file:// in every browser tried. The build bundles this module and puts the runtime before it, and before that a
// stand-in for importScripts, which the runtime looks at.
//
// Messages in:   {start: MessagePort}                             what unpacker.js says comes out of it
//                {id, request: JSON text, early: boolean}         early: replies before the last are wanted too
//                {drop: id}                                       its answer is no longer wanted
// Messages out:  {ready: true}
//                {failed: text, damaged: boolean}                 damaged: the payload is not what the build made
//                {id, done, total}                                slices of the work on it that are done
//                {id, early: JSON text}                           a reply before the last
//                {id, reply: JSON text}   or   {id, dropped: true}
//                {id, failed: text, fatal: boolean}               fatal: Python may no longer be asked
//
// An answer is worked out in slices. Between two of them the worker looks into its mail, so that a question nobody
// waits for any longer is dropped within one slice. Of several questions the newest is worked on; those before it go on
// where they were once it is answered.

/* global loadPyodide, _createPyodideModule, RUNTIME_INFO -- the runtime, which stands before this program */

import { placeOfTrampoline } from "./memory_image.js";
import { Damaged, opened } from "./payload_reader.js";

/**
 * @typedef {object} Asked
 * @property {number} id
 * @property {string} request
 * @property {boolean} early
 * @property {any} steps a Python generator, once it is worked on
 */

const RUNTIME = "https://runtime.invalid/"; // never asked for: both files the runtime fetches are at hand
const SITE_PACKAGES = "/lib/python3.14/site-packages";
const MACHINE_CODE = "feedcalc/chemistry/machine_code.wasm"; // of the solver, among the files of the image
/** @type {any} */
export let python = null;
/** @type {any} */
let answerInSteps = null;
/** @type {any} */
let PythonError = null; // what Python raises; any other error comes from an interpreter that has died
const FATAL = new Set(["JsException", "MemoryError", "RecursionError", "SystemError"]); // Python survives these by luck
/** @type {Asked[]} */
const asked = []; // questions that want an answer, the newest last
let isWorking = false;
const mail = new MessageChannel(); // a message to ourselves comes after those that wait already

/** @param {unknown} error */
const textOf = (error) => String(error instanceof Error ? error.message : error).slice(-2000);
/** @param {any} error */
const isFatal = (error) => !(error instanceof PythonError) || FATAL.has(error.type);

self.onmessage = async ({ data }) => {
  if (data.start) {
    try {
      await start(data.start);
      self.postMessage({ ready: true });
    } catch (error) {
      self.postMessage({ failed: textOf(error), damaged: error instanceof Damaged });
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
  for (let newest = asked.at(-1); newest; newest = asked.at(-1)) {
    workOn(newest);
    await mailRead();
  }
  isWorking = false;
};

/**
 * Work on a question for one slice.
 * @param {Asked} question
 */
function workOn(question) {
  const { id, request, early } = question;
  const tell = early ? (/** @type {string} */ reply) => self.postMessage({ id, early: reply }) : undefined;
  let outcome = null;
  try {
    if (!question.steps) question.steps = answerInSteps(request, tell);
    const step = question.steps.next();
    if (step.done) {
      outcome = { reply: step.value };
    } else {
      const [done, total] = step.value.toJs();
      step.value.destroy();
      self.postMessage({ id, done, total });
    }
  } catch (error) {
    outcome = { failed: textOf(error), fatal: isFatal(error) };
  }
  if (outcome) settle(question, outcome);
}

/**
 * A question is done with: say so, and forget it.
 * @param {Asked} question
 * @param {object} outcome
 */
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

/**
 * Start Python from the snapshot. Its machine is made before the snapshot is there.
 * @param {MessagePort} unpacker
 */
async function start(unpacker) {
  const { wasm, memory } = await nextFrom(unpacker);
  const compiled = WebAssembly.compile(wasm).catch(() => { throw new Damaged("this copy of the page is damaged"); });
  self.fetch = fromMemory(["pyodide.asm.wasm", "python_stdlib.zip"]);
  /** @type {WebAssembly.Exports} */
  let exported = {};
  WebAssembly.instantiateStreaming = async (_, imports) => {
    const module = await compiled;
    const instance = await WebAssembly.instantiate(module, imports);
    exported = instance.exports;
    return { module, instance };
  };
  const image = nextFrom(unpacker).then((message) => opened(message.image, wasm));
  image.catch(() => {}); // heard where it is waited for
  await startPython(memory, image);
  await connectMachineCode((await image).files, exported);
}

/** @param {MessagePort} port */
function nextFrom(port) {
  return /** @type {Promise<any>} */ (new Promise((resolve) => {
    port.addEventListener("message", ({ data }) => resolve(data), { once: true });
    port.start();
  }));
}

/**
 * Return a stand-in for fetch: the runtime's own files are at hand, anything else is refused.
 * @param {string[]} files
 * @returns {typeof fetch}
 */
function fromMemory(files) {
  return async (address) => {
    const wanted = address instanceof Request ? address.url : String(address);
    if (!files.includes(wanted.replace(RUNTIME, ""))) throw new Error(`nothing is fetched here, not even ${wanted}`);
    return new Response();
  };
}

/**
 * @param {number} size of the snapshot's memory in bytes
 * @param {Promise<ReturnType<typeof opened>>} image
 */
async function startPython(size, image) {
  let trampoline = 0;
  python = await loadPyodide({
    indexURL: RUNTIME,
    packageBaseUrl: RUNTIME,
    createPyodideModule: async (/** @type {any} */ settings) => {
      const module = await _createPyodideModule(settings);
      // The runtime starts with less memory than it had when the image was made.
      if (size > module.HEAPU8.length && !module._emscripten_resize_heap(size)) {
        throw new Error("this browser has too little memory for the snapshot");
      }
      trampoline = module.HEAP32[placeOfTrampoline(module)];
      const { header, restore } = await image;
      const read = module.API.restoreSnapshot;
      module.API.restoreSnapshot = () => { // itself it would want all of the memory once more, beside the header
        restore(module.HEAPU8);
        return read(header);
      };
      return module;
    },
    lockFileContents: { info: RUNTIME_INFO, packages: {} },
    env: { PYTHONHASHSEED: "0" },
    fsInit: async (/** @type {any} */ FS) => {
      for (const [name, content] of (await image).files) {
        const path = `${SITE_PACKAGES}/${name}`;
        FS.mkdirTree(path.slice(0, path.lastIndexOf("/")));
        FS.writeFile(path, content, { canOwn: true });
      }
    },
    _loadSnapshot: new Uint8Array(1), // that there is one; what comes is restored
  });
  // A snapshot brings back the abilities and the random state of the machine that made it.
  python._module.HEAP32[placeOfTrampoline(python._module)] = trampoline;
  python.pyimport("random").seed();
  PythonError = python.ffi.PythonError;
  answerInSteps = python.pyimport("feedcalc.engine").answer_in_steps;
}

/**
 * Let the solver work as machine code in Python's memory.
 * @param {[string, Uint8Array][]} files
 * @param {WebAssembly.Exports} exported by Python's own machine
 */
async function connectMachineCode(files, exported) {
  const code = /** @type {BufferSource | undefined} */ (files.find(([name]) => name === MACHINE_CODE)?.[1]);
  const memory = Object.values(exported).find((each) => each instanceof WebAssembly.Memory);
  if (!code || !memory) throw new Damaged("this copy of the page is damaged");
  const { instance } = await WebAssembly.instantiate(code, { python: { memory, exp: Math.exp } });
  python.pyimport("feedcalc.chemistry.machine_code").connect(instance.exports.run);
}
