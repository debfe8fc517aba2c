// The payload apart: what site/building/payload.py packs, as the worker needs it.
//
// It is three lengths as uint32 (of both frames, of the memory in the image), a zstd frame of pyodide.asm.wasm, and a zstd
// frame of the image that bake.mjs packs: uint32 length of an index in JSON, the index, files, pages of the snapshot.

import { xorStaticData } from "./memory_image.js";

/** Some of the payload is missing or changed. */
export class Damaged extends Error {}

const LENGTHS = 12; // bytes
const ESCAPE = 0x3d; // "=", see payload.py
const FURTHER_ON = 0x2000;

/** The payload as it arrives, piece by piece: its beginning can be used before the rest is there. */
export class Payload {
  #bytes = new Uint8Array(LENGTHS);
  #length = 0;
  #isEnded = false;
  #more = () => {};
  /** @type {unknown} */
  #fault = null;

  /**
   * Add a piece: bytes, or text whose characters stand for two bytes each; null says that it was the last.
   * @param {Uint8Array | string | null} piece
   */
  add(piece) {
    if (piece === null) this.#isEnded = true;
    else if (typeof piece === "string") this.#addText(piece);
    else this.#addBytes(piece);
    this.#more();
  }

  /**
   * No more will come: say why to whoever waits for it.
   * @param {unknown} fault
   */
  fail(fault) {
    this.#fault = fault;
    this.add(null);
  }

  /** @param {Uint8Array} bytes */
  #addBytes(bytes) {
    this.#room(bytes.length).set(bytes, this.#length);
    this.#length += bytes.length;
  }

  /** @param {string} text */
  #addText(text) {
    const units = new Uint16Array(this.#room(2 * text.length).buffer);
    let length = this.#length / 2; // a text follows texts, and only the last may have stood for an odd number of bytes
    for (let place = 0; place < text.length; place++) {
      const code = text.charCodeAt(place);
      units[length++] = code === ESCAPE ? text.charCodeAt(++place) - FURTHER_ON : code;
    }
    this.#length = 2 * length;
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
   * Return a promise of the bytes from one place to another. It is rejected where the payload ends before: with what
   * `fail` was told, else with `Damaged`.
   * @param {number} start
   * @param {number} end
   */
  async bytes(start, end) {
    while (this.#length < end) {
      if (this.#isEnded) throw this.#fault ?? new Damaged("this copy of the page is incomplete: the end of it is missing");
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
 * Open an image: the files in it, each in memory of its own, the header of the snapshot, and what writes the snapshot's
 * memory over that of a machine that was just made from `wasm`. Throws `Damaged` where it is none.
 * @param {Uint8Array} image
 * @param {Uint8Array} wasm
 */
export function opened(image, wasm) {
  let at = 4;
  /** @param {number} length */
  const next = (length) => image.subarray(at, (at += length));
  try {
    const { files: named, snapshot: { header, page, pages } } = JSON.parse(new TextDecoder().decode(next(new DataView(image.buffer).getUint32(0, true))));
    /** @type {[string, Uint8Array][]} */
    const files = named.map((/** @type {[string, number]} */ [name, length]) => [name, next(length).slice()]);
    const restore = (/** @type {Uint8Array} */ memory) => {
      let end = 0;
      for (const [first, count] of pages) {
        memory.fill(0, end, first * page);
        memory.set(next(count * page), first * page);
        end = (first + count) * page;
      }
      memory.fill(0, end);
      xorStaticData(memory, wasm);
    };
    return { files, header: Uint8Array.from(header), restore };
  } catch {
    throw new Damaged("this copy of the page is damaged");
  }
}
