// The program of the worker and its payload, as they stand in the page, and whether they are whole.
//
// Rules: they stand in the elements #engine-program and #engine-payload as text, which goes on in the elements after it;
// or the latter says where the payload is fetched from (site). Both have the SHA-256 of what is in them once it is
// unpacked. Where the browser gives no hashes (an address without encryption) the checksums of gzip and zstd are left.

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
  return ["WebAssembly", "Worker", "DecompressionStream"].find((name) => !(name in window) || !(/** @type {any} */ (window)[name])) ?? "";
}

/**
 * Return whether the bytes that were in an element are those the build made; true where this browser can't tell.
 * @param {string} name
 * @param {BufferSource} bytes
 */
export async function isWhole(name, bytes) {
  if (!canHash()) return true;
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  const digits = Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits === document.getElementById(name)?.dataset.sha256;
}

/** Return the text of the worker's program. Throws `Damaged` where it is not what the build made. */
export async function programOfWorker() {
  const element = document.getElementById("engine-program");
  if (!element) throw new Damaged("the page has no program");
  const program = await unpacked(element.textContent ?? "");
  if (!await isWhole("engine-program", program)) throw new Damaged("the program has another hash");
  return new TextDecoder().decode(program);
}

/** Return where the payload is fetched from, and how many bytes it has; null where it stands in the page. */
export function addressOfPayload() {
  const { address, bytes } = document.getElementById("engine-payload")?.dataset ?? {};
  return address ? { address, base: location.href, size: Number(bytes) } : null;
}

const isRead = () => document.readyState !== "loading";

async function whenRead() {
  if (!isRead()) await new Promise((resolve) => { document.addEventListener("DOMContentLoaded", resolve, { once: true }); });
}

/**
 * Yield the texts of the payload's elements, one after the other: each is whole as soon as there is another behind it. They
 * come last in the page, and Python wakes while they are read.
 */
export async function* partsOfPayload() {
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
