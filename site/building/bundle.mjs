// Bundle modules into one classic script: node bundle.mjs ENTRY NAME [minify UNPACKER], in the folder site.
//
// Rules: the same modules give the same bytes on every host: no times, no absolute paths. What the entry exports is
// read from the global NAME; where it says UNPACKER_PROGRAM, the module UNPACKER stands as a text, bundled as well.
// Printed as JSON: the script, and for each module the paths of those it imports.

import { build } from "esbuild";

const [entry, name, minify, unpacker] = process.argv.slice(2);
const usual = {
  bundle: true,
  format: "iife",
  target: "es2022",
  platform: "browser",
  charset: "ascii",
  preserveSymlinks: true, // names of modules stand in the script: they are as told, wherever those files lie
  legalComments: "none", // licences of what others wrote stand in the page
  alias: { "ical.js": "./node_modules/ical.js/dist/ical.min.js" },
  minifyWhitespace: minify === "minify",
  minifySyntax: minify === "minify",
  metafile: true,
  write: false,
  logLevel: "error",
};
const program = unpacker ? (await build({ ...usual, entryPoints: [unpacker] })).outputFiles[0].text : "";
const define = { UNPACKER_PROGRAM: JSON.stringify(program) };
const { outputFiles: [script], metafile } = await build({ ...usual, entryPoints: [entry], globalName: name, define });
const imports = Object.fromEntries(Object.entries(metafile.inputs)
  .map(([path, module]) => [path, module.imports.map((each) => each.path)]));
process.stdout.write(JSON.stringify({ script: script.text, imports }));
