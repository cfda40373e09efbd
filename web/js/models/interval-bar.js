/** Where a difference and its range stand on a small bar with "no change" in the middle. */

const ROOM = 1.08; // a little more than the farther end

/** @returns {zero, low, high, change} in px from the left of a bar `width` wide. */
export function intervalPlaces({ change, low, high }, width) {
  const reach = ROOM * Math.max(Math.abs(low), Math.abs(high), Number.MIN_VALUE);
  const place = (value) => (width / 2) * (1 + value / reach);
  return { zero: width / 2, low: place(low), high: place(high), change: place(change) };
}
