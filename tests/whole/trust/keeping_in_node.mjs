// Holds the page's reader of files and links against texts: JSON lines of texts in, one line of findings out.
// For each text: no exception, an answer of one of the known shapes, and what comes back in a form goes out again.

import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const keeping = await import(pathToFileURL(process.argv[2])); // its words are English where no page is

function faultOf(found, mayBeNothing) {
  if (found === null) return mayBeNothing ? "" : "nothing at all";
  if (typeof found?.problem === "function") return found.problem().trim() ? "" : "a problem without words";
  if (!Array.isArray(found?.batches) || !found.batches.length) return "neither batches nor a problem";
  for (const batch of found.batches) {
    if (!/^[\w-]{1,64}$/.test(batch.id)) return "a batch with a wild id";
    if (typeof batch.name !== "string" || batch.name.length > 80) return "a batch with a wild name";
    if (typeof batch.request !== "object" || batch.request === null || Array.isArray(batch.request)) return "a batch without a request";
    if (!Array.isArray(batch.done) || batch.done.some((step) => typeof step !== "string")) return "a batch with wild ticks";
  }
  const again = keeping.read(keeping.envelope(found.batches));
  if (JSON.stringify(again.batches) !== JSON.stringify(found.batches)) return "batches that change when saved and opened";
  const carried = keeping.readLink(`#${keeping.link(found.batches[0])}`);
  if (JSON.stringify(carried?.batches?.[0]?.request) !== JSON.stringify(found.batches[0].request)) return "a link that changes its batch";
  return "";
}

let tried = 0;
const broken = [];
for await (const line of createInterface({ input: process.stdin })) {
  const text = JSON.parse(line);
  const ways = [
    ["file", () => faultOf(keeping.read(text), false)],
    ["link", () => faultOf(keeping.readLink(text), true)],
    ["link of it", () => faultOf(keeping.readLink(`#batch=${btoa(unescape(encodeURIComponent(text.toWellFormed?.() ?? ""))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "")}`), true)],
  ];
  for (const [way, held] of ways) {
    const started = performance.now();
    let fault;
    try {
      fault = held();
    } catch (error) {
      fault = String(error);
    }
    const took = performance.now() - started;
    if (!fault && took > 2000) fault = `no answer in ${Math.round(took)} ms`;
    if (fault) broken.push({ way, fault, text });
    tried += 1;
  }
}
console.log(JSON.stringify({ tried, broken: broken.slice(0, 10) }));
