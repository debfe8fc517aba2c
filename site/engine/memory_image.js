// What must be known of a memory image both where it is made and where it is used again.
//
// Rules: runs at build time and in the worker, so it is a plain script. XOR undoes itself: the build takes out
// of the image what the wasm file already holds, the worker puts it back.

"use strict";

/**
 * XOR every active data segment of `wasm` (bytes of a module with 32-bit memory) onto `image`, in place.
 * Throws an Error where a segment is of a kind that a single-threaded CPython build does not have.
 */
function xorStaticData(image, wasm) {
  const DATA_SECTION = 11, I32_CONST = 0x41, END = 0x0b;
  let at = 8; // past the magic number and the version
  const number = () => { // LEB128, unsigned; addresses here stay below 2^31
    let value = 0;
    for (let shift = 0; ; shift += 7) {
      const byte = wasm[at++];
      value |= (byte & 127) << shift;
      if (byte < 128) return value >>> 0;
    }
  };
  while (at < wasm.length) {
    const section = wasm[at++], size = number(), end = at + size;
    if (section !== DATA_SECTION) { at = end; continue; }
    for (let left = number(); left > 0; left--) {
      if (number() !== 0 || wasm[at++] !== I32_CONST) throw new Error("unexpected kind of data segment");
      const target = number();
      if (wasm[at++] !== END) throw new Error("unexpected offset of a data segment");
      const length = number();
      for (let i = 0; i < length; i++) image[target + i] ^= wasm[at + i];
      at += length;
    }
  }
}

/**
 * Where in `module.HEAP32` the interpreter keeps the table index of a function that the browser at hand may or may
 * not be able to have. An image must hold 0 there, which always works; whoever restores it puts the index back
 * that this browser's own start had left, which is faster.
 */
function placeOfTrampoline(module) {
  return (module.__PyRuntime + module.HEAP32[module.__PyEM_EMSCRIPTEN_TRAMPOLINE_OFFSET >>> 2]) >>> 2;
}
