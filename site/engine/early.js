// The first script of the page: begins to wake Python while all that is seen is still being read.
//
// Rules: a bundle of its own, whose exports are read from `feedcalcEarly`. The elements of the program, and of a payload
// that is fetched, stand before it; it looks at nothing else of the page. engine/client.js takes what is begun here for
// its first start. What the workers say until then waits for it.

import { worker } from "../common/markup.js";
import { addressOfPayload, canHash, programOfWorker, whatIsLacking } from "./loading.js";

export * as markup from "../common/markup.js";

/** @typedef {{ data: any } | { crash: string }} Said a message of worker.js or unpacker.js, or what ended it */

/**
 * Start both workers, the one that runs Python and the one that unpacks for it.
 * @param {boolean} anew whether to fetch past the browser's own copies
 */
function begin(anew) {
  /** @type {Said[]} */
  const said = [];
  let tell = (/** @type {Said} */ each) => { said.push(each); };
  const started = (/** @type {string} */ program, /** @type {{ start: MessagePort, hashed?: boolean }} */ message) => {
    const one = worker(program);
    one.onmessage = ({ data }) => tell({ data });
    one.onerror = (event) => {
      event.preventDefault();
      tell({ crash: event.message || "the worker stopped" });
    };
    one.postMessage(message, [message.start]);
    return one;
  };
  const { port1, port2 } = new MessageChannel();
  const unpacker = started(UNPACKER_PROGRAM, { start: port1, hashed: canHash() });
  const payload = addressOfPayload();
  if (payload) unpacker.postMessage({ fetch: { ...payload, anew } });
  const python = programOfWorker().then((program) => started(program, { start: port2 }));
  python.catch(() => {}); // heard by who takes it
  return {
    unpacker,
    python,
    listen(/** @type {(said: Said) => void} */ to) {
      tell = to;
      said.splice(0).forEach(to);
    },
  };
}

function beginEarly() {
  try {
    return whatIsLacking() ? null : begin(false);
  } catch {
    return null; // client.js tries again, and says why it can't be
  }
}

let first = beginEarly();

/**
 * Return both workers, the first time those that were begun with the page.
 * @param {boolean} anew
 */
export function begun(anew) {
  const started = first ?? begin(anew);
  first = null;
  return started;
}
