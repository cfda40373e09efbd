/** How fast a sensor turns: the length of its bar, and which of the two is moved. */

import { segmentName } from "./sensor-facts.js";

const FULL_DPS = 600;
const MOVED_DPS = 60;
const ALONE = 3; // times faster than the other one
const HOLD = 30; // reports of motion, ten a second: long enough to be read

/** Share of the bar, 0 to 1; the root lets a gentle shake show. */
export function barShare(dps) {
  if (typeof dps !== "number" || !Number.isFinite(dps)) return 0;
  return Math.min(1, Math.sqrt(Math.abs(dps) / FULL_DPS));
}

/** The segment that clearly turns faster than the other, or null. */
export function movingSegment({ pelvis_dps: pelvis, upper_back_dps: upperBack }) {
  const [low, high] = [pelvis ?? 0, upperBack ?? 0].map(Math.abs);
  if (Math.max(low, high) < MOVED_DPS) return null;
  if (low > ALONE * high) return "pelvis";
  return high > ALONE * low ? "upper_back" : null;
}

/** Which sensor is moved, in words that stay for a while. */
export class MovingWords {
  #segment = null; #left = 0;

  /** `moving`: segment, or null. */
  after(moving) {
    if (moving !== null) [this.#segment, this.#left] = [moving, HOLD];
    else if (this.#left > 0) this.#left -= 1;
    return this.now;
  }

  /** Whether a movement is spoken of. */
  get tells() {
    return this.#left > 0;
  }

  get now() {
    if (!this.tells) return "Which is which? Turn one sensor in your hand: its bar jumps.";
    return `The one that moves is the sensor of the ${segmentName(this.#segment).toLowerCase()}.`;
  }
}
