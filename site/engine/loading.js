// The program of the worker and its payload, out of the page or from its site, and whether they are whole.
//
// Rules: both stand in the elements #engine-program and #engine-payload, as text (one file) or as an address to fetch
// (site), with the SHA-256 of what is in them once it is unpacked. Where the browser gives no hashes (an address without
// encryption) lengths and the checksums of gzip and zstd are left.

/** Of the page or its payload some is missing or changed. */
export class Damaged extends Error {
  /** @param {string} message */
  constructor(message) {
    super(message);
    this.name = "Damaged";
  }
}

export const canHash = () => Boolean(window.crypto?.subtle);

/** Return the name of what the engine needs and this browser has not, or "". */
export function whatIsLacking() {
  const packed = !document.getElementById("engine-program")?.dataset.address;
  return ["WebAssembly", "Worker", ...(packed ? ["DecompressionStream"] : [])].find((name) => !(name in window) || !(/** @type {any} */ (window)[name])) ?? "";
}

/**
 * Return whether the bytes that were in an element are those the build made; true where this browser can't tell.
 * @param {string} name
 * @param {ArrayBuffer} bytes
 */
export async function isWhole(name, bytes) {
  if (!canHash()) return true;
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  const digits = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits === document.getElementById(name)?.dataset.sha256;
}

/**
 * Return the text of the worker's program. Throws `Damaged` where it is not what the build made.
 * @param {boolean} anew past the browser's own copies
 */
export async function programOfWorker(anew) {
  const element = document.getElementById("engine-program");
  if (!element) throw new Damaged("the page has no program");
  const program = await (element.dataset.address ? fetched(element, anew) : unpacked(element.textContent ?? ""));
  if (!await isWhole("engine-program", program)) throw new Damaged("the program has another hash");
  return new TextDecoder().decode(program);
}

/**
 * Return the payload: signs that stand in the page, or bytes from an address. It comes last in the page, and the worker
 * wakes while it is read.
 * @param {boolean} anew
 * @param {(far: import("../types").Progress) => void} onProgress
 */
export async function payloadOfWorker(anew, onProgress) {
  if (document.readyState === "loading") {
    await new Promise((resolve) => { document.addEventListener("DOMContentLoaded", resolve, { once: true }); });
  }
  const element = document.getElementById("engine-payload");
  if (!element) throw new Damaged("the page ends before the payload");
  return element.dataset.address ? fetched(element, anew, onProgress) : element.textContent ?? "";
}

/** @param {string} text */
async function unpacked(text) {
  try {
    const signs = atob(text);
    const packed = new Uint8Array(signs.length);
    for (let place = 0; place < signs.length; place++) packed[place] = signs.charCodeAt(place); // in a tenth of the time of Uint8Array.from
    const stream = new DecompressionStream("gzip");
    const writer = stream.writable.getWriter();
    writer.write(packed).catch(() => {}); // what is wrong with it is said where it is read
    writer.close().catch(() => {});
    return await new Response(stream.readable).arrayBuffer();
  } catch (error) {
    throw new Damaged(`the program can't be unpacked: ${error instanceof Error ? error.message : error}`);
  }
}

/**
 * Return the bytes behind the address an element names.
 * @param {HTMLElement} element
 * @param {boolean} anew
 * @param {(far: import("../types").Progress) => void} [onProgress]
 */
async function fetched({ dataset: { address = "", bytes: size } }, anew, onProgress) {
  const response = await fetch(address, { cache: anew ? "reload" : "default" });
  if (!response.ok || !response.body) throw new Error(`${address}: ${response.status}`);
  const total = Number(size);
  const bytes = new Uint8Array(total);
  const reader = response.body.getReader();
  let done = 0;
  for (let part = await reader.read(); !part.done; part = await reader.read()) {
    if (done + part.value.length > total) throw new Damaged(`${address}, too long`);
    bytes.set(part.value, done);
    done += part.value.length;
    onProgress?.({ done, total });
  }
  if (done !== total) throw new Damaged(`${address}, ${done} of ${total} bytes`);
  return bytes.buffer;
}
