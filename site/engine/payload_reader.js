// The payload apart: what site/building/payload.py packs, as the worker needs it.
//
// It is the lengths of two frames as uint32, a zstd frame of pyodide.asm.wasm, and a zstd frame of the image that
// bake.mjs packs: uint32 length of an index in JSON, the index, files, pages of the snapshot.

import { xorStaticData } from "./memory_image.js";

/** Some of the payload is missing or changed. */
export class Damaged extends Error {}

/**
 * Return where the two frames of the payload end. Throws `Damaged` where some of it is missing.
 * @param {Uint8Array} bytes
 * @returns {[number, number]}
 */
export function endsOfFrames(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const firstEnd = bytes.length < 8 ? 0 : 8 + view.getUint32(0, true);
  const end = bytes.length < 8 ? 8 : firstEnd + view.getUint32(4, true);
  if (bytes.length < end) {
    throw new Damaged("this copy of the page is incomplete: the end of it is missing");
  }
  return [firstEnd, end];
}

const ESCAPE = 0x3d; // "=", see payload.py
const FURTHER_ON = 64;

/**
 * Return the bytes of what the build writes as text: each sign is the byte it is in windows-1252.
 * @param {string} text
 */
export function bytesOfText(text) {
  const signs = new TextDecoder("windows-1252").decode(Uint8Array.from({ length: 256 }, (_, byte) => byte));
  const byteOf = new Uint8Array(65536);
  for (let byte = 0; byte < 256; byte++) byteOf[signs.charCodeAt(byte)] = byte;
  const bytes = new Uint8Array(text.length);
  let length = 0;
  for (let place = 0; place < text.length; place++) {
    const code = text.charCodeAt(place);
    bytes[length++] = code === ESCAPE ? text.charCodeAt(++place) - FURTHER_ON : byteOf[code] ?? 0;
  }
  return bytes.subarray(0, length);
}

/**
 * Return the parts of an image, each in memory of its own so that the image itself can go.
 * @param {Uint8Array} image
 * @param {Uint8Array} wasm
 */
export function unpack(image, wasm) {
  let at = 4 + new DataView(image.buffer, image.byteOffset).getUint32(0, true);
  const index = JSON.parse(new TextDecoder().decode(image.subarray(4, at)));
  /** @param {number} length */
  const next = (length) => image.slice(at, (at += length));
  /** @type {[string, Uint8Array][]} */
  const files = index.files.map((/** @type {[string, number]} */ [name, length]) => [name, next(length)]);
  const { length, heapAt, page, pages } = index.snapshot;
  const snapshot = new Uint8Array(length);
  for (const [first, count] of pages) {
    const size = Math.min(count * page, length - first * page);
    snapshot.set(image.subarray(at, at + size), first * page);
    at += size;
  }
  xorStaticData(snapshot.subarray(heapAt), wasm);
  return { files, snapshot };
}
