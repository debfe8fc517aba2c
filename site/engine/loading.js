// The program of the worker and its payload, out of the page or from its site, and whether they are whole.
//
// Rules: both stand in the elements #engine-program and #engine-payload, as text (one file; the payload goes on in the
// elements after it) or as an address to fetch (site), with the SHA-256 of what is in them once it is unpacked. Where the
// browser gives no hashes (an address without encryption) lengths and the checksums of gzip and zstd are left.

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
 * Yield the parts of the payload, one after the other: texts that stand in the page, or bytes from an address. They come
 * last in the page, and Python wakes while they are read.
 * @param {boolean} anew
 * @param {(far: import("../types").Progress) => void} onProgress
 * @returns {AsyncGenerator<string | Uint8Array<ArrayBuffer>>}
 */
export async function* partsOfPayload(anew, onProgress) {
  if (!document.documentElement.hasAttribute("data-installable")) {
    yield* partsInPage();
    return;
  }
  await whenRead();
  const element = document.getElementById("engine-payload");
  if (!element) throw new Damaged("the page ends before the payload");
  yield* partsOfFile(element, anew, onProgress);
}

const isRead = () => document.readyState !== "loading";

async function whenRead() {
  if (!isRead()) await new Promise((resolve) => { document.addEventListener("DOMContentLoaded", resolve, { once: true }); });
}

/** Yield the texts of the payload's elements; each is whole as soon as there is another behind it. */
async function* partsInPage() {
  for (let count = 0; ;) {
    const isLast = isRead();
    const elements = document.querySelectorAll("#engine-payload, [data-payload]");
    if (isLast && !elements.length) throw new Damaged("the page ends before the payload");
    for (; count < elements.length - (isLast ? 0 : 1); count++) yield elements[count]?.textContent ?? "";
    if (isLast) return;
    await Promise.race([whenRead(), whenLonger()]);
  }
}

function whenLonger() {
  return /** @type {Promise<void>} */ (new Promise((resolve) => {
    const observer = new MutationObserver(() => {
      observer.disconnect();
      resolve();
    });
    observer.observe(document.body, { childList: true });
  }));
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
 * Yield the bytes behind the address an element names, part by part.
 * @param {HTMLElement} element
 * @param {boolean} anew
 * @param {(far: import("../types").Progress) => void} [onProgress]
 */
async function* partsOfFile({ dataset: { address = "", bytes: size } }, anew, onProgress) {
  const response = await fetch(address, { cache: anew ? "reload" : "default" });
  if (!response.ok || !response.body) throw new Error(`${address}: ${response.status}`);
  const total = Number(size);
  const reader = response.body.getReader();
  let done = 0;
  try {
    for (let part = await reader.read(); !part.done; part = await reader.read()) {
      done += part.value.length;
      if (done > total) throw new Damaged(`${address}, too long`);
      onProgress?.({ done, total });
      yield part.value;
    }
  } finally {
    reader.cancel().catch(() => {}); // nobody may want the rest any longer
  }
  if (done !== total) throw new Damaged(`${address}, ${done} of ${total} bytes`);
}

/**
 * Return the bytes behind the address an element names.
 * @param {HTMLElement} element
 * @param {boolean} anew
 */
async function fetched(element, anew) {
  const parts = [];
  for await (const part of partsOfFile(element, anew)) parts.push(part);
  return new Blob(parts).arrayBuffer();
}
