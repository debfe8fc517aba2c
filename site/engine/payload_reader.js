// The payload apart: what site/building/payload.py packs, as the worker needs it.
//
// It is three lengths as uint32 (of both frames, of the memory in the image), a zstd frame of pyodide.asm.wasm, and a zstd
// frame of the image that bake.mjs packs: uint32 length of an index in JSON, the index, files, pages of the snapshot.

import { xorStaticData } from "./memory_image.js";

/** Some of the payload is missing or changed. */
export class Damaged extends Error {}

const LENGTHS = 12; // bytes
const ESCAPE = 0x3d; // "=", see payload.py
const FURTHER_ON = 64;

/** The byte that each sign of windows-1252 is. */
function bytesOfSigns() {
  const signs = new TextDecoder("windows-1252").decode(Uint8Array.from({ length: 256 }, (_, byte) => byte));
  const byteOf = new Uint8Array(65536);
  for (let byte = 0; byte < 256; byte++) byteOf[signs.charCodeAt(byte)] = byte;
  return byteOf;
}

/** The payload while it comes, piece by piece: what it begins with can be used before the rest is there. */
export class Payload {
  #bytes = new Uint8Array(LENGTHS);
  #length = 0;
  #isEnded = false;
  #byteOf = bytesOfSigns();
  #more = () => {};

  /**
   * Add a piece: bytes, or text in which each sign is the byte it is in windows-1252; null says that it was the last.
   * @param {Uint8Array | string | null} piece
   */
  add(piece) {
    if (piece === null) this.#isEnded = true;
    else if (typeof piece === "string") this.#addText(piece);
    else this.#addBytes(piece);
    this.#more();
  }

  /** @param {Uint8Array} bytes */
  #addBytes(bytes) {
    this.#room(bytes.length).set(bytes, this.#length);
    this.#length += bytes.length;
  }

  /** @param {string} text */
  #addText(text) {
    const bytes = this.#room(text.length);
    let length = this.#length;
    for (let place = 0; place < text.length; place++) {
      const code = text.charCodeAt(place);
      bytes[length++] = code === ESCAPE ? text.charCodeAt(++place) - FURTHER_ON : this.#byteOf[code] ?? 0;
    }
    this.#length = length;
  }

  /** @param {number} further how many bytes may come */
  #room(further) {
    if (this.#length + further > this.#bytes.length) this.#grow(2 * (this.#length + further));
    return this.#bytes;
  }

  /** @param {number} size */
  #grow(size) {
    const bytes = new Uint8Array(size);
    bytes.set(this.#bytes.subarray(0, this.#length));
    this.#bytes = bytes;
  }

  /**
   * Return a promise of the bytes from one place to another. It is rejected with `Damaged` where the payload ends before.
   * @param {number} start
   * @param {number} end
   */
  async bytes(start, end) {
    while (this.#length < end) {
      if (this.#isEnded) throw new Damaged("this copy of the page is incomplete: the end of it is missing");
      await new Promise((resolve) => { this.#more = () => resolve(null); });
    }
    return this.#bytes.subarray(start, end);
  }

  /** Return a promise of where the two frames begin and end, and of how many bytes the memory in the image has. */
  async lengths() {
    const lengths = await this.bytes(0, LENGTHS);
    const [first = 0, second = 0, memory = 0] = new Uint32Array(lengths.slice().buffer);
    const total = LENGTHS + first + second;
    if (total > this.#bytes.length) this.#grow(total);
    return { start: LENGTHS, middle: LENGTHS + first, total, memory };
  }
}

/**
 * Write the memory in an image over one that has noughts, and return the files in it, each in memory of its own so that
 * the image itself can go.
 * @param {Uint8Array} image
 * @param {Uint8Array} wasm
 * @param {Uint8Array} memory
 */
export function unpack(image, wasm, memory) {
  let at = 4 + new DataView(image.buffer, image.byteOffset).getUint32(0, true);
  const index = JSON.parse(new TextDecoder().decode(image.subarray(4, at)));
  /** @param {number} length */
  const next = (length) => image.slice(at, (at += length));
  /** @type {[string, Uint8Array][]} */
  const files = index.files.map((/** @type {[string, number]} */ [name, length]) => [name, next(length)]);
  const { length, heapAt, page, pages } = index.snapshot;
  for (const [first, count] of pages) {
    const size = Math.min(count * page, length - first * page);
    memory.set(image.subarray(at, at + size), first * page);
    at += size;
  }
  xorStaticData(memory.subarray(heapAt), wasm);
  return files;
}
