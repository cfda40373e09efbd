/** A session in sum, ready to be written. `summary` as /api/sessions/{id}/summary gives it. */

import { formatNumber } from "./number-format.js";
import { countText } from "./session-words.js";
import { bareUncertaintyText } from "./uncertainty.js";

const DRIFT = "drift";
const TOO_FEW = "too few swings";

/** @returns [{column, mean, uncertainty, sd, apart}] as texts, one for each number, in its unit. */
export function summaryRows(summary, dictionary) {
  return summary.metrics.map((metric) => {
    const column = dictionary.get(metric.column);
    return {
      column,
      mean: formatNumber(metric.mean, column.decimals),
      uncertainty: bareUncertaintyText(metric.mean_u, column),
      sd: formatNumber(metric.sd, column.decimals),
      apart: formatNumber(metric.mdc95_swing, column.decimals),
    };
  });
}

/** What happens over the session, as sentences: every drift, or one for all that show none. */
export function driftSentences({ metrics }) {
  const drifting = metrics.filter(({ drift }) => drift.verdict === DRIFT);
  const unclear = metrics.filter(({ drift }) => drift.verdict === TOO_FEW).length;
  if (unclear === metrics.length) return metrics.slice(0, 1).map(({ drift }) => afterLabel(drift.sentence));
  if (drifting.length === 0) return ["No drift from first swing to last shown in these numbers."];
  const rest = drifting.length + unclear < metrics.length ? ["No drift shown in the others."] : [];
  return [...drifting.map(({ drift }) => drift.sentence), ...rest];
}

/** Swings that averages leave out, and dwelling ones, as sentences. */
export function leftOutSentences({ swings, left_out: leftOut, metrics }) {
  const sentences = [];
  if (leftOut.length > 0) {
    const each = leftOut.map(({ number, reasons }) => `swing ${number} (${reasons.join(" ")})`);
    sentences.push(`Left out ${leftOut.length} of ${swings}: ${each.join("; ")}`);
  }
  const dwelling = Math.max(0, ...metrics.map((metric) => metric.dwelling));
  if (dwelling > 0) {
    sentences.push(`In ${countText(dwelling)} a segment dwells at the top: the transition lead is not sharp there.`);
  }
  return sentences;
}

function afterLabel(sentence) {
  const text = sentence.slice(sentence.indexOf(": ") + 2);
  return text.charAt(0).toUpperCase() + text.slice(1);
}
