/** One number of one swing, ready to be written: value, sign in words, change, uncertainty. */

import { formatNumber, formatWithUnit, isNumber, unitWords } from "./number-format.js";
import { isDwell, kindText } from "./swing-number.js";
import { bareUncertaintyText, uncertaintyText } from "./uncertainty.js";

const WAITING = "waiting for a swing";

/** @returns texts for `number` (of RANGE_NUMBERS) in the last swing of `swings`. */
export function readingOf(number, swings, dictionary) {
  const column = dictionary.get(number.column);
  const swing = swings.last;
  const value = swing?.metrics[number.column];
  const uncertainty = uncertaintyText(swing?.uncertainty?.[number.column], column);
  const kind = kindText(column, swing);
  if (swing && isDwell(swing, number.column)) return dwellReading(value, uncertainty, column, kind);
  return {
    number: formatNumber(value, column.decimals),
    unit: isNumber(value) ? column.unit : "",
    column,
    kind,
    sign: isNumber(value) ? number.sign(value) : swing ? "not available for this swing" : WAITING,
    change: changeText(swing, swings, column),
    uncertainty,
    bareUncertainty: bareUncertaintyText(swing?.uncertainty?.[number.column], column),
  };
}

/** "dwell" stands where a number would claim to be sharp; about what it is stands below. */
function dwellReading(value, uncertainty, column, kind) {
  const about = [formatWithUnit(value, column), uncertainty].filter(Boolean).join(" ");
  return {
    number: "dwell", unit: "", column, kind, change: "", uncertainty: "", bareUncertainty: "",
    sign: isNumber(value) ? `not sharp: about ${about}` : "not sharp",
  };
}

/** "3.2° above the average so far". */
function changeText(swing, swings, column) {
  const value = swing?.metrics[column.name];
  if (!isNumber(value)) return "";
  const average = swings.averageBefore(swing, column.name);
  if (average === null) return "";
  const change = value - average.mean;
  if (Number(Math.abs(change).toFixed(column.decimals)) === 0) return "level with the average so far";
  const side = change > 0 ? "above" : "below";
  return `${formatWithUnit(Math.abs(change), column)} ${side} the average so far`;
}

/** What a screen reader says when a swing arrives. */
export function announcement(number, swings, dictionary) {
  const { number: text, column, sign } = readingOf(number, swings, dictionary);
  const words = [text, unitWords(column.unit)].filter(Boolean).join(" ");
  const flags = swings.last.flags.map((flag) => flag.text).join(". ");
  return [`Swing ${swings.last.number}. ${column.label}: ${words}, ${sign}.`, flags]
    .filter(Boolean).join(" ");
}
