/** Length of the bar that shows how fast a sensor turns. */

const FULL_DPS = 600;

/** Share of the bar, 0 to 1; the root lets a gentle shake show. */
export function barShare(dps) {
  if (typeof dps !== "number" || !Number.isFinite(dps)) return 0;
  return Math.min(1, Math.sqrt(Math.abs(dps) / FULL_DPS));
}

/** The segment that clearly turns faster than the other, or null. */
export function movingSegment({ pelvis_dps: pelvis, upper_back_dps: upperBack }) {
  const [low, high] = [pelvis ?? 0, upperBack ?? 0].map(Math.abs);
  if (Math.max(low, high) < 60) return null;
  if (low > 3 * high) return "pelvis";
  return high > 3 * low ? "upper_back" : null;
}
