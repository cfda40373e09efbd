/** Numbers and units as a reader sees them. */

const MINUS = "\u2212";
const MISSING = "\u2013";

/** A unit as the data dictionary writes it, and the same in words for a screen reader. */
const UNIT_WORDS = new Map([
  ["\u00b0", "degrees"],
  ["\u00b0/s", "degrees per second"],
  ["\u00b0/s\u00b2", "degrees per second squared"],
  ["ms", "milliseconds"],
  ["s", "seconds"],
  ["%", "percent"],
  ["W", "watts"],
  ["W/kg", "watts per kilogram"],
]);
const GLUED = /^[\u00b0%]/; // written right behind the number

export function isNumber(value) {
  return typeof value === "number" && Number.isFinite(value);
}

/** 1234.56 -> "1234.6"; a minus as long as a plus; no negative zero; what is missing as a dash. */
export function formatNumber(value, decimals = 1) {
  if (typeof value === "string") return value;
  if (!isNumber(value)) return MISSING;
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

/** With its sign in front, also where it is positive. */
export function formatSigned(value, decimals = 1) {
  const text = formatNumber(value, decimals);
  return isNumber(value) && value > 0 && Number(text) !== 0 ? `+${text}` : text;
}

export function unitWords(unit) {
  return UNIT_WORDS.get(unit) ?? unit;
}

/** Number and unit in one text, "44.3°" or "38 ms". */
export function formatWithUnit(value, { unit, decimals }, format = formatNumber) {
  const number = format(value, decimals);
  if (!unit || !isNumber(value)) return number;
  return GLUED.test(unit) ? number + unit : `${number}\u00a0${unit}`;
}

/** Width of a number in digits, for fitting it into its room: points and signs are narrow. */
export function widthInDigits(text) {
  return [...text].reduce((width, sign) => width + (/[\d\p{L}]/u.test(sign) ? 1 : 0.55), 0);
}
