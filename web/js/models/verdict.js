/** Verdicts in plain words. */

const CALIBRATED = /^Calibrated\b/;

/** Of a calibration message. @returns {good, head, text}. */
export function calibrationVerdict({ calibrated, text }) {
  if (!calibrated) return { good: false, head: "Repeat", text: text || "No calibration could be read." };
  if (text && !CALIBRATED.test(text)) {
    return { good: false, head: "Usable, better repeat", text };
  }
  return { good: true, head: "Good", text: text || "This session is calibrated." };
}

/** Of the answer to a sync check; `offset_ms` with its standard uncertainty `u_ms`. The text says
 * whether it is applied. */
export function syncVerdict({ good, text, offset_ms: offset, u_ms: standard }) {
  if (!good) return { good, head: "Repeat", text };
  const range = `${offset.toFixed(1)}\u00a0ms \u00b1\u00a0${Math.max(0.1, 2 * standard).toFixed(1)}\u00a0ms`;
  return { good, head: "Good", text: `${text} They were apart by ${range}.` };
}
