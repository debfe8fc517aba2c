// Unpacks the payload as it arrives, in a worker beside the one that runs Python. It is ended once Python is awake, and
// its memory is free again. Its whole program stands in early.js.
//
// Messages in:   {start: MessagePort, hashed: boolean}            the port leads to the worker that Python runs in
//                {part: text, or null at the end}                 of the payload, one after the other; or
//                {fetch: {address, base, size, anew}}             where it is fetched from, and its bytes in all; anew: past
//                                                                 the browser's own copies
// Messages out:  {payload: Uint8Array}                            all of it, where it shall be hashed
//                {stage: "fetching" | "unpacking" | "starting", done, total}   bytes of payload dealt with
//                {failed: text, damaged: boolean}                 damaged: the payload is not what the build made
// To the port:   {wasm: Uint8Array, memory: number}               and how many bytes Python's memory will have
//                {image: Uint8Array}

import { ZSTDDecoder } from "zstddec";

import { Damaged, Payload } from "./payload_reader.js";

const MOST_MEMORY = 2 ** 30; // bytes, many times what a snapshot has
const payload = new Payload();
const decoding = decoder();
decoding.catch(() => {}); // heard where it is waited for

self.onmessage = async ({ data }) => {
  if (data.part !== undefined) {
    payload.add(data.part);
    return;
  }
  if (data.fetch) {
    await fetchAll(data.fetch).catch((error) => payload.fail(error));
    return;
  }
  try {
    await unpackAll(data.start, data.hashed);
  } catch (error) {
    self.postMessage({ failed: String(error instanceof Error ? error.message : error), damaged: error instanceof Damaged });
  }
};

/** @param {{ address: string, base: string, size: number, anew: boolean }} from */
async function fetchAll({ address, base, size, anew }) {
  const { ok, status, body } = await fetch(new URL(address, base), { cache: anew ? "reload" : "default" });
  if (!ok || !body) throw new Error(`${address}: ${status}`);
  const reader = body.getReader();
  let done = 0;
  try {
    for (let part = await reader.read(); !part.done; part = await reader.read()) {
      done += part.value.length;
      if (done > size) throw new Damaged(`${address}, too long`);
      payload.add(part.value);
      self.postMessage({ stage: "fetching", done, total: size });
    }
  } finally {
    reader.cancel().catch(() => {}); // nobody may want the rest any longer
  }
  payload.add(null);
}

/** @param {MessagePort} port @param {boolean} hashed */
async function unpackAll(port, hashed) {
  const decoded = await decoding;
  const { start, middle, total, memory } = await payload.lengths();
  if (memory > MOST_MEMORY) throw new Damaged("this copy of the page is damaged: its lengths are wrong");
  const frame = await payload.bytes(start, middle);
  self.postMessage({ stage: "unpacking", done: 0, total });
  const wasm = decoded(frame);
  port.postMessage({ wasm, memory }, [wasm.buffer]);
  self.postMessage({ stage: "unpacking", done: middle, total });
  const image = decoded(await payload.bytes(middle, total));
  port.postMessage({ image }, [image.buffer]);
  self.postMessage({ stage: "starting", done: total, total });
  if (!hashed) return;
  const whole = await payload.bytes(0, total);
  self.postMessage({ payload: whole }, { transfer: [whole.buffer] });
}

/** Return a function that unpacks a frame, or throws `Damaged`: frames carry a checksum. */
async function decoder() {
  const { fetch } = self;
  // The decoder fetches its own program from a data: address, which the page's policy forbids.
  self.fetch = async (address) => new Response(Uint8Array.from(atob(String(address).split(",")[1] ?? ""), (sign) => sign.charCodeAt(0)));
  const zstd = new ZSTDDecoder();
  const ready = zstd.init();
  self.fetch = fetch;
  await ready;
  return (/** @type {Uint8Array} */ frame) => {
    try {
      const content = zstd.decode(frame);
      if (content.length) return content;
    } catch { /* damaged so that the decoder itself fails */ }
    throw new Damaged("this copy of the page is damaged");
  };
}
