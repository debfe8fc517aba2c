// The database of the season book: opened, lost and read. Where a browser refuses it the book is in memory only.

/**
 * @typedef {"" | "refused" | "newer" | "full"} Why why the book is not in the database; "" where it is
 */

const NAME = "feedcalc.book";
export const RECORDS = "records";
export const ASIDE = "set aside";
export const TYPED = "typed";
const PATIENCE = 8000; // milliseconds for a database to open; a browser that neither opens nor refuses is refused
/**
 * From each version of the database to the next.
 * @type {((opened: IDBDatabase) => void)[]}
 */
const UPGRADES = [
  (opened) => {
    opened.createObjectStore(RECORDS, { keyPath: "id" });
    opened.createObjectStore(ASIDE, { autoIncrement: true });
    opened.createObjectStore(TYPED);
  },
];

export const held = {
  /** @type {IDBDatabase | null} */
  database: null,
  /** @type {Why} */
  why: "",
};

/**
 * Open the database; afterwards `held` says whether that worked. A busy machine may open it after it was given up.
 * @param {() => void} onLate
 */
export function connect(onLate) {
  let isGivenUp = false;
  return /** @type {Promise<void>} */ (new Promise((resolve) => {
    /** @param {Why} reason */
    const refused = (reason) => {
      held.why = reason;
      clearTimeout(tooLong);
      resolve();
    };
    const tooLong = setTimeout(() => { isGivenUp = true; refused("refused"); }, PATIENCE);
    const opening = asked();
    if (!opening) return refused("refused");
    opening.onupgradeneeded = ({ oldVersion }) => {
      for (const upgrade of UPGRADES.slice(oldVersion)) upgrade(opening.result);
    };
    opening.onerror = (event) => {
      event.preventDefault();
      refused(opening.error?.name === "VersionError" ? "newer" : "refused");
    };
    opening.onsuccess = () => {
      take(opening.result);
      clearTimeout(tooLong);
      if (isGivenUp) onLate();
      resolve();
    };
    return undefined;
  }));
}

function asked() {
  try {
    return indexedDB.open(NAME, UPGRADES.length);
  } catch {
    return null;
  }
}

/** @param {IDBDatabase} database */
function take(database) {
  held.database = database;
  held.why = "";
  // A newer page in another window wants to upgrade: it may; this one then goes on in memory.
  database.onversionchange = () => lose("newer");
  database.onclose = () => lose("refused");
}

/** @param {Why} reason */
export function lose(reason) {
  held.database?.close();
  held.database = null;
  held.why = reason;
}

/**
 * Return a promise of what a request of the database brings.
 * @template T
 * @param {IDBRequest<T>} request
 * @returns {Promise<T>}
 */
export function done(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
