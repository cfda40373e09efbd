/** What a twist would do for the two clocks now, in words. */

import { clockIsYoung, SEGMENTS } from "./sensor-facts.js";

const WORTH_MS = 2; // expanded by two: a check brings the two clocks within about this
const YOUNG =
  "The timing still settles, up to half a minute after the start: twist once both sensors say \u201ctiming fair\u201d or \u201cgood\u201d.";

/** `state`: of the sensors; null where the clocks are not told. */
export function syncAdvice(state) {
  const known = SEGMENTS.map((segment) => state.worn(segment)?.clock_u_ms);
  if (known.some((one) => typeof one !== "number")) return null;
  if (known.some(clockIsYoung)) return YOUNG;
  const apart = 2 * Math.hypot(...known);
  const figure = `Between the two, timing is known to \u00b1\u00a0${Math.max(0.1, apart).toFixed(1)}\u00a0ms`;
  return apart > WORTH_MS
    ? `${figure}: a twist now makes it better.`
    : `${figure}: good. Twist again when this grows over ${WORTH_MS}\u00a0ms.`;
}
