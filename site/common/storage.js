// Small texts in localStorage or sessionStorage, of which a browser may refuse both.

export const CUSTOMS = "feedcalc.customs"; // whose cups and gallons are meant, once somebody has said so

/**
 * Return the text kept under a key, or null where there is none or storage is refused.
 * @param {string} key
 * @param {() => Storage} [storage]
 */
export function kept(key, storage = () => localStorage) {
  try {
    return storage().getItem(key);
  } catch {
    return null;
  }
}

/**
 * Keep a text under a key, or take it away with null. Returns whether that worked.
 * @param {string} key
 * @param {string | null} text
 * @param {() => Storage} [storage]
 */
export function keep(key, text, storage = () => localStorage) {
  try {
    if (text === null) storage().removeItem(key);
    else storage().setItem(key, text);
    return true;
  } catch {
    return false;
  }
}

export const ofThisTab = () => sessionStorage;
