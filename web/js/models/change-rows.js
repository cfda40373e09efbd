/** Two sessions side by side, ready to be written. `comparison` as /api/comparison gives it. */

import { changeWords } from "./key-numbers.js";
import { formatSigned, formatWithUnit, isNumber } from "./number-format.js";

const CHANGED = "changed";
const NOT_SHOWN = "not shown";

/** @returns [{column, verdict, before, after, change, range, reason, interval}], one a number;
 * interval {change, low, high, changed}, null where there is none. */
export function changeRows(comparison, dictionary) {
  return comparison.metrics.map((metric) => {
    const column = dictionary.get(metric.column);
    const known = isNumber(metric.change);
    return {
      column,
      verdict: metric.verdict,
      before: formatWithUnit(metric.before.mean, column),
      after: formatWithUnit(metric.after.mean, column),
      change: formatWithUnit(metric.change, column, formatSigned),
      range: known ? rangeText(metric, column) : "",
      reason: reasonText(metric, column),
      interval: known ? { ...pick(metric), changed: metric.verdict === CHANGED } : null,
    };
  });
}

/** What to keep in mind, each said once: of all numbers first, then of single ones by name. */
export function cautionSentences(comparison, dictionary) {
  const said = new Map(comparison.cautions.map(({ code, text }) => [code, { text, labels: [] }]));
  for (const { column, cautions } of comparison.metrics) {
    for (const { code, text } of cautions) {
      if (!said.has(code)) said.set(code, { text, labels: [] });
      said.get(code).labels.push(dictionary.get(column).label);
    }
  }
  const all = comparison.metrics.length;
  return [...said.values()].map(({ text, labels }) => sentence(text, labels.length === all ? [] : labels));
}

function sentence(text, labels) {
  const subject = labels.length > 0 ? `${labels.join(", ")}: ${text}` : text;
  return `${subject.charAt(0).toUpperCase()}${subject.slice(1)}.`;
}

function pick({ change, low, high }) {
  return { change, low, high };
}

function rangeText({ low, high }, column) {
  const [from, to] = [low, high].map((value) => formatSigned(value, column.decimals));
  return `${from} to ${to}`;
}

function reasonText(metric, column) {
  if (metric.verdict === CHANGED) return changeWords(metric.column, metric.change);
  if (metric.verdict === NOT_SHOWN) return notShown(metric, column);
  return `${metric.before.n} before and ${metric.after.n} after have a number`;
}

function notShown({ change, detectable }, column) {
  if (Math.abs(change) > detectable) return "the swings of both overlap too much";
  return `less than ${formatWithUnit(detectable, column)} cannot be told from none`;
}
