// The one door by which text becomes markup or a program on this page. Browsers that know Trusted Types shut every
// other: the page's policy names this one rule, and nobody can make another. It is made by the first script of the page;
// the second one goes through the same door.

const SERVICE_WORKER = "service_worker.js";
const addresses = new Set([SERVICE_WORKER]);
const rule = {
  /** @param {string} markup */
  createHTML: (markup) => markup,
  /** @param {string} address */
  createScriptURL(address) {
    if (!addresses.has(address)) throw new TypeError("this is no program of the page");
    return address;
  },
};

function make() {
  /** @type {typeof rule} made at once, so that nobody can make it before us */
  const door = /** @type {any} */ (window).trustedTypes?.createPolicy("feedcalc", rule) ?? rule;
  return {
    /** @param {string} markup */
    partsOf: (markup) => [...new DOMParser().parseFromString(door.createHTML(markup), "text/html").body.childNodes],
    /** @param {string} program */
    worker(program) {
      const address = URL.createObjectURL(new Blob([program], { type: "text/javascript" }));
      addresses.add(address);
      return new Worker(door.createScriptURL(address));
    },
    keeper: () => door.createScriptURL(SERVICE_WORKER),
  };
}

/**
 * `partsOf` returns the nodes of the engine's own markup, in which everything a person typed is escaped; `worker` a worker
 * that runs our own program; `keeper` the address of our service worker, to be registered.
 * @type {ReturnType<typeof make>}
 */
export const { partsOf, worker, keeper } = window.feedcalcEarly?.markup ?? make();
