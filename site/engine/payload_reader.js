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

/** Return a table of the byte that each character is in windows-1252, by its code. */
function bytesOfSigns() {
  const signs = new TextDecoder("windows-1252").decode(Uint8Array.from({ length: 256 }, (_, byte) => byte));
  const byteOf = new Uint8Array(65536);
  for (let byte = 0; byte < 256; byte++) byteOf[signs.charCodeAt(byte)] = byte;
  return byteOf;
}

/** The payload as it arrives, piece by piece: its beginning can be used before the rest is there. */
export class Payload {
  #bytes = new Uint8Array(LENGTHS);
  #length = 0;
  #isEnded = false;
  #byteOf = bytesOfSigns();
  #more = () => {};

  /**
   * Add a piece: bytes, or text whose characters stand for bytes as in windows-1252; null says that it was the last.
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

  /**
   * Return a buffer with room for more bytes behind those that are there.
   * @param {number} further
   */
  #room(further) {
    const wanted = this.#length + further;
    if (wanted > this.#bytes.length) {
      const longer = new Uint8Array(2 * wanted);
      longer.set(this.#bytes);
      this.#bytes = longer;
    }
    return this.#bytes;
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
    return { start: LENGTHS, middle: LENGTHS + first, total: LENGTHS + first + second, memory };
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
