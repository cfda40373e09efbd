/** How certain a number is, as a reader sees it: expanded uncertainty, k = 2 (JCGM 100:2008, 6.2). */

import { formatWithUnit, isNumber } from "./number-format.js";

export const COVERAGE_FACTOR = 2;
export const COVERAGE_WORDS = "95\u00a0%";
export const UNCERTAINTY_MEANING = "\u00b1: in about 19 of 20 cases the true value lies this close "
  + "(95\u00a0%, expanded uncertainty with k\u00a0=\u00a02).";

/** "± 1.2°" from one standard uncertainty; "" where there is none. */
export function uncertaintyText(standard, column) {
  if (!isNumber(standard)) return "";
  return `\u00b1\u00a0${formatWithUnit(expanded(standard, column), column)}`;
}

/** The same without its unit, where the unit stands elsewhere. */
export function bareUncertaintyText(standard, column) {
  return uncertaintyText(standard, { ...column, unit: "" });
}

/** Never less than one step of the last place shown: a number is not exact because it is short. */
function expanded(standard, { decimals }) {
  return Math.max(COVERAGE_FACTOR * standard, 10 ** -decimals);
}
