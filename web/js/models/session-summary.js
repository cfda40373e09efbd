/** Mean and spread of a session's usable swings, per column. */

import { isNumber } from "./number-format.js";

/** @returns {n, mean, sd}; mean null without a value, sd (n - 1 in the divisor) null below two. */
export function summaryOf(swings, column) {
  const values = swings.filter((swing) => swing.usable)
    .map((swing) => swing.metrics[column]).filter(isNumber);
  const n = values.length;
  if (n === 0) return { n, mean: null, sd: null };
  const mean = values.reduce((sum, value) => sum + value, 0) / n;
  const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { n, mean, sd: n < 2 ? null : Math.sqrt(squares / (n - 1)) };
}
