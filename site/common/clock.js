// The clock of this machine, as fields for dates and times write it.

/** @param {number} number */
const two = (number) => String(number).padStart(2, "0");

/** Return today as "2026-05-01". */
export function today(now = new Date()) {
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/** Return this minute as "2026-05-01T09:30". */
export function localMoment(now = new Date()) {
  return `${today(now)}T${two(now.getHours())}:${two(now.getMinutes())}`;
}
