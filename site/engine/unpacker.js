// Unpacks the payload as it arrives, in a worker beside the one that runs Python. It is ended once Python is awake, and
// its memory is free again. Its whole program stands in the page's script.
//
// Messages in:   {start: {hashed: boolean, port: MessagePort}}    the port leads to the worker that Python runs in
//                {part: text, Uint8Array, or null at the end}     of the payload, one after the other
// Messages out:  {payload: ArrayBuffer}                           a copy, where it shall be hashed: before the image goes
//                {stage: "unpacking" | "starting", done, total}   bytes of payload dealt with
//                {failed: text, damaged: boolean}                 damaged: the payload is not what the build made
// To the port:   {wasm: Uint8Array, memory: number}               and how many bytes the snapshot will have
//                {files: [path, Uint8Array][], snapshot: Uint8Array}

import { ZSTDDecoder } from "zstddec";

import { Damaged, Payload, unpack } from "./payload_reader.js";

const MOST_MEMORY = 2 ** 30; // bytes, many times what a snapshot has
const payload = new Payload();

self.onmessage = async ({ data }) => {
  if (data.part !== undefined) {
    payload.add(data.part);
    return;
  }
  try {
    await unpackAll(data.start);
  } catch (error) {
    self.postMessage({ failed: String(error instanceof Error ? error.message : error), damaged: error instanceof Damaged });
  }
};

/** @param {{ hashed: boolean, port: MessagePort }} given */
async function unpackAll({ hashed, port }) {
  const decoded = await decoder();
  const { start, middle, total, memory } = await payload.lengths();
  if (memory > MOST_MEMORY) throw new Damaged("this copy of the page is damaged: its lengths are wrong");
  const frame = await payload.bytes(start, middle);
  self.postMessage({ stage: "unpacking", done: 0, total });
  const wasm = decoded(frame);
  port.postMessage({ wasm, memory });
  self.postMessage({ stage: "unpacking", done: middle, total });
  const whole = await payload.bytes(0, total);
  if (hashed) {
    const copy = whole.slice().buffer;
    self.postMessage({ payload: copy }, { transfer: [copy] });
  }
  const snapshot = new Uint8Array(memory);
  const files = unpacked(whole.subarray(middle), wasm, snapshot, decoded);
  self.postMessage({ stage: "starting", done: total, total });
  port.postMessage({ files, snapshot }, [snapshot.buffer, ...files.map(([, { buffer }]) => buffer)]);
}

/**
 * Return the files in a frame, and write its snapshot. Whatever fails here, the payload is damaged: a decoder that meets
 * a changed byte may return something all the same.
 * @param {Uint8Array} frame
 * @param {Uint8Array} wasm
 * @param {Uint8Array} snapshot
 * @param {(frame: Uint8Array) => Uint8Array} decoded
 */
function unpacked(frame, wasm, snapshot, decoded) {
  try {
    return unpack(decoded(frame), wasm, snapshot);
  } catch {
    throw new Damaged("this copy of the page is damaged");
  }
}

/** Return a function that unpacks a frame; one carries a checksum, and where it is wrong that throws `Damaged`. */
async function decoder() {
  // The decoder fetches its own program from a data: address, which the page's policy forbids.
  self.fetch = async (address) => new Response(Uint8Array.from(atob(String(address).split(",")[1] ?? ""), (sign) => sign.charCodeAt(0)));
  const zstd = new ZSTDDecoder();
  await zstd.init();
  return (/** @type {Uint8Array} */ frame) => {
    const content = zstd.decode(frame);
    if (!content.length) throw new Damaged("this copy of the page is damaged: a checksum is wrong");
    return content;
  };
}
