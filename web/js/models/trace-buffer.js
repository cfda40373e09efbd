/** The last seconds of both velocities, for the live trace. */

export const SPAN_S = 8;
const LEAST_SCALE_DPS = 200; // below, standing still would look like motion
const SCALE_STEP_DPS = 200;

export class TraceBuffer {
  #points = [];

  /** Points are {time, pelvis, upperBack}; time s, velocities deg/s, positive toward the target. */
  push({ time_s: times, pelvis_velocity_dps: pelvis, upper_back_velocity_dps: upperBack }) {
    times.forEach((time, i) => {
      if (time <= this.end) this.#restartIfBack(time);
      if (time > this.end) this.#points.push({ time, pelvis: pelvis[i], upperBack: upperBack[i] });
    });
    const oldest = this.end - SPAN_S;
    const keep = this.#points.findIndex((point) => point.time >= oldest);
    if (keep > 0) this.#points.splice(0, keep);
  }

  get points() {
    return this.#points;
  }

  get end() {
    return this.#points.at(-1)?.time ?? Number.NEGATIVE_INFINITY;
  }

  /** Half height of the drawing, deg/s: steady steps, so that the scale does not breathe. */
  get scale() {
    const peak = this.#points.reduce(
      (most, { pelvis, upperBack }) => Math.max(most, Math.abs(pelvis ?? 0), Math.abs(upperBack ?? 0)),
      LEAST_SCALE_DPS,
    );
    return Math.ceil(peak / SCALE_STEP_DPS) * SCALE_STEP_DPS;
  }

  clear() {
    this.#points = [];
  }

  /** Time far behind the end means another session's clock. */
  #restartIfBack(time) {
    if (time < this.end - SPAN_S) this.clear();
  }
}
