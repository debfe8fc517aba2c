// What must be known of a memory image both where it is made and where it is used again.
//
// Rules: runs at build time and in the worker. XOR undoes itself: the build takes out of the image what the wasm file
// already holds, the worker puts it back.

const DATA_SECTION = 11;
const I32_CONST = 0x41;
const END = 0x0b;

/**
 * XOR every active data segment of a module with 32-bit memory onto an image, in place. Throws an Error where a segment
 * is of a kind that a single-threaded CPython build does not have.
 * @param {Uint8Array} image
 * @param {Uint8Array} wasm
 */
export function xorStaticData(image, wasm) {
  let at = 8; // past the magic number and the version
  const byte = () => wasm[at++] ?? 0;
  const number = () => { // LEB128, unsigned; addresses here stay below 2^31
    let value = 0;
    for (let shift = 0; ; shift += 7) {
      const part = byte();
      value |= (part & 127) << shift;
      if (part < 128) return value >>> 0;
    }
  };
  while (at < wasm.length) {
    const section = byte();
    const size = number();
    if (section !== DATA_SECTION) {
      at += size;
      continue;
    }
    for (let left = number(); left > 0; left--) {
      if (number() !== 0 || byte() !== I32_CONST) throw new Error("unexpected kind of data segment");
      const target = number();
      if (byte() !== END) throw new Error("unexpected offset of a data segment");
      const length = number();
      for (let i = 0; i < length; i++) image[target + i] = (image[target + i] ?? 0) ^ (wasm[at + i] ?? 0);
      at += length;
    }
  }
}

/**
 * Return where in `module.HEAP32` the interpreter keeps the table index of a function that the browser at hand may or
 * may not be able to have. An image must hold 0 there, which always works; whoever restores it puts the index back that
 * this browser's own start had left, which is faster.
 * @param {any} module
 */
export function placeOfTrampoline(module) {
  return (module.__PyRuntime + module.HEAP32[module.__PyEM_EMSCRIPTEN_TRAMPOLINE_OFFSET >>> 2]) >>> 2;
}
