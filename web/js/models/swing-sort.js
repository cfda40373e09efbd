/** Swings in the order a reader asked for. */

/** A sorted copy by `key` ("number" or a column); what is missing comes last either way. */
export function sortSwings(swings, { key, descending }) {
  const sign = descending ? -1 : 1;
  return [...swings].sort((a, b) => compare(valueOf(a, key), valueOf(b, key), sign));
}

/** The order after a press on the heading of `key`: turned round if it was in force already. */
export function nextOrder(order, key) {
  return { key, descending: order.key === key ? !order.descending : false };
}

function valueOf(swing, key) {
  return key === "number" ? swing.number : swing.metrics[key] ?? null;
}

function compare(a, b, sign) {
  if (a === null || b === null) return (a === null) - (b === null);
  if (typeof a === "number" && typeof b === "number") return sign * (a - b);
  return sign * String(a).localeCompare(String(b));
}
