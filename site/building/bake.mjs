// Compile, or warm up and snapshot, Python under Node: node bake.mjs JOB.json
//
// Rules: the same job gives the same bytes, so clocks stand still, "random" bytes are constant and hashing has a
// fixed seed while the snapshot is made (the worker undoes each of these when it starts). The job names its step, and by
// absolute path: runtime (the folder of the pyodide package), site, packages (their sources), work (a folder for
// intermediate files). The step "compile" leaves python_stdlib.zip and compiled in work. With these the step "snapshot"
// answers the job's requests once and leaves image (the payload before compression) and replies.json.

import fs from "node:fs";
import path from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const job = JSON.parse(fs.readFileSync(process.argv[2], "utf8"));
const here = path.dirname(fileURLToPath(import.meta.url));
const { placeOfTrampoline, xorStaticData } = await import(pathToFileURL(path.join(job.site, "engine", "memory_image.js")));
const PAGE = 4096; // granularity at which empty memory is left out
const TEMPLATES = "feedcalc/sheets/compiled_"; // read when an answer is first written with them; other modules are in the snapshot

function holdStill() {
  const noon = Date.UTC(2026, 0, 1, 12);
  Date.now = () => noon;
  performance.now = () => 0;
  globalThis.crypto.getRandomValues = (array) => array.fill(0);
  process.env.TZ = "UTC";
  process.argv.splice(1, Infinity, "feedcalc"); // the snapshot keeps it, wherever this file stands
  Object.defineProperty(process, "version", { value: "v0" });
  // What later releases of Node.js have and earlier ones lack, and the runtime looks at.
  delete globalThis.navigator;
  delete WebAssembly.Suspending;
  delete WebAssembly.promising;
}

function filesBelow(folder, prefix = "") {
  return fs.readdirSync(path.join(folder, prefix), { withFileTypes: true })
    .sort((one, other) => (one.name < other.name ? -1 : 1))
    .flatMap((entry) => {
      const name = prefix + entry.name;
      return entry.isDirectory() ? filesBelow(folder, name + "/") : [[name, fs.readFileSync(path.join(folder, name))]];
    });
}

async function compile(loadPyodide) {
  const python = await loadPyodide({ indexURL: job.runtime, env: { PYTHONHASHSEED: "0", PYTHONNODEBUGRANGES: "1" } });
  for (const [place, folder] of [["/runtime", job.runtime], ["/packages", job.packages], ["/bakery", job.work]]) {
    python.FS.mkdirTree(place);
    python.FS.mount(python.FS.filesystems.NODEFS, { root: folder }, place);
  }
  python.runPython(fs.readFileSync(path.join(here, "compile_inside.py"), "utf8"));
  python.runPython(`
compile_library("/runtime/python_stdlib.zip", "/bakery/python_stdlib.zip")
compile_packages("/packages", "/bakery/compiled")
`);
}

async function snapshot(loadPyodide, packageFiles) {
  const python = await loadPyodide({
    indexURL: job.runtime,
    stdLibURL: path.join(job.work, "python_stdlib.zip"),
    lockFileContents: { info: JSON.parse(fs.readFileSync(path.join(job.runtime, "pyodide-lock.json"))).info, packages: {} },
    env: { PYTHONHASHSEED: "0", PYTHONNODEBUGRANGES: "1" },
    args: [],
    _makeSnapshot: true,
    fsInit: async (FS, { sitePackages }) => writeFiles(FS, sitePackages, packageFiles),
  });
  const scope = python.runPython("{'__name__': 'warm_inside'}");
  python.runPython(fs.readFileSync(path.join(here, "warm_inside.py"), "utf8"), { globals: scope });
  const replies = python.runPython(`warm_up(${JSON.stringify(JSON.stringify(job.requests))})`, { globals: scope });
  scope.destroy();
  python.runPython("import gc; gc.collect()");
  python._module.HEAP32[placeOfTrampoline(python._module)] = 0;
  clearStack(python._module);
  return { replies, image: python.makeMemorySnapshot() };
}

function writeFiles(FS, folder, files) {
  for (const [name, content] of files) {
    FS.mkdirTree(path.posix.dirname(`${folder}/${name}`));
    FS.writeFile(`${folder}/${name}`, content);
  }
}

function clearStack(module) { // what returned calls left below the stack pointer
  module.HEAPU8.fill(0, module._emscripten_stack_get_end(), module._emscripten_stack_get_current());
}

function runsOfFullPages(image) { // [first page, number of pages] of every stretch that is not all zeros
  const runs = [];
  for (let page = 0; page * PAGE < image.length; page++) {
    if (image.subarray(page * PAGE, (page + 1) * PAGE).every((byte) => byte === 0)) continue;
    const last = runs.at(-1);
    if (last && last[0] + last[1] === page) last[1]++;
    else runs.push([page, 1]);
  }
  return runs;
}

function pack(files, image) {
  const wasm = fs.readFileSync(path.join(job.runtime, "pyodide.asm.wasm"));
  const heapAt = new Uint32Array(image.buffer, image.byteOffset, 2)[1];
  const stored = image.slice(heapAt);
  xorStaticData(stored, wasm);
  const pages = runsOfFullPages(stored);
  const index = Buffer.from(JSON.stringify({
    files: files.map(([name, content]) => [name, content.length]),
    snapshot: { header: [...image.subarray(0, heapAt)], length: stored.length, page: PAGE, pages },
  }));
  const length = Buffer.alloc(4);
  length.writeUInt32LE(index.length);
  return Buffer.concat([
    length, index, ...files.map(([, content]) => content),
    ...pages.map(([first, count]) => stored.subarray(first * PAGE, (first + count) * PAGE)),
  ]);
}

async function answerAndSnapshot(loadPyodide) {
  const packageFiles = filesBelow(path.join(job.work, "compiled"));
  const { replies, image } = await snapshot(loadPyodide, packageFiles);
  const files = packageFiles.filter(([name]) => !name.endsWith(".pyc") || name.startsWith(TEMPLATES));
  fs.writeFileSync(path.join(job.work, "image"), pack(files, image));
  fs.writeFileSync(path.join(job.work, "replies.json"), replies);
}

try {
  holdStill();
  const { loadPyodide } = await import(pathToFileURL(path.join(job.runtime, "pyodide.mjs")));
  await (job.step === "compile" ? compile : answerAndSnapshot)(loadPyodide);
} catch (error) {
  console.error(String(error?.message ?? error).slice(-3000)); // the stack would print the whole runtime
  process.exit(1);
}
