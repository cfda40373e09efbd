/** A number of a swing in words where it is not simply a number: a dwell, a strike, an estimate. */

import { formatNumber, formatWithUnit } from "./number-format.js";

const DWELL = "dwell"; // the flag's code, and the word on the page
const STRIKE = "strike";
const HANG_ON_REVERSALS = new Set(["transition_lead_ms", "pelvis_reversal_s", "top_s"]);
const HANG_ON_IMPACT = new Set(["impact_s", "downswing_s", "tempo"]);
const SHARP_S = 0.004; // one standard uncertainty of a reversal that is told sharply

export const DWELL_MEANING = "Dwell: a segment rests at the top, so the moment it turns round is not "
  + "sharp, and who starts down first cannot be told to a few milliseconds.";

/** Whether `name` is ill-defined in this swing since a segment dwells at its reversal. */
export function isDwell(swing, name) {
  if (!HANG_ON_REVERSALS.has(name) || !swing.flags.some((flag) => flag.code === DWELL)) return false;
  const uncertainty = swing.uncertainty?.[name];
  return !(name.endsWith("_s") && uncertainty <= SHARP_S);
}

/** "44.3°", or "dwell" in place of a false precision. */
export function swingNumberText(swing, column) {
  return isDwell(swing, column.name) ? DWELL : formatWithUnit(swing.metrics[column.name], column);
}

/** The same without unit, for a column of a table. */
export function bareSwingNumberText(swing, column) {
  return isDwell(swing, column.name) ? DWELL : formatNumber(swing.metrics[column.name], column.decimals);
}

export function isStrike(swing) {
  return swing?.metrics.impact_method === STRIKE;
}

/** What kind of number it is beside a measured one: "estimate", "seen as a strike", or "". */
export function kindText(column, swing) {
  if (!column.estimate) return "";
  if (!isStrike(swing) || !HANG_ON_IMPACT.has(column.name)) return "estimate";
  return column.name === "impact_s" ? "seen as a strike" : "";
}
