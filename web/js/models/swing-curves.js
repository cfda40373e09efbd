/** A swing against time, its clock set to zero at the top. */

import { isNumber } from "./number-format.js";

/** Curves by short name: the field of the service's answer, unit, words. */
export const CURVES = Object.freeze({
  pelvisTurn: { field: "pelvis_turn_deg", label: "Pelvis turn", unit: "\u00b0", decimals: 1 },
  upperBackTurn: { field: "upper_back_turn_deg", label: "Upper back turn", unit: "\u00b0", decimals: 1 },
  separation: { field: "separation_deg", label: "Separation", unit: "\u00b0", decimals: 1 },
  pelvisVelocity: { field: "pelvis_velocity_dps", label: "Pelvis speed", unit: "\u00b0/s", decimals: 0 },
  upperBackVelocity: {
    field: "upper_back_velocity_dps", label: "Upper back speed", unit: "\u00b0/s", decimals: 0,
  },
});

const LEAD_IN_S = 0.25; // shown before the takeaway
const LEAD_OUT_S = 0.35; // shown after the last event
const DOWN_FROM_S = -0.3; // the close view: transition and downswing

export class SwingCurves {
  #fields;

  /** `answer` as /api/swings/{id}/curves gives it; `topS` the top in session time, s. */
  constructor(answer, topS) {
    this.#fields = answer;
    this.times = answer.time_s.map((time) => time - topS);
  }

  get start() {
    return this.times[0];
  }

  get end() {
    return this.times.at(-1);
  }

  values(curve) {
    return this.#fields[CURVES[curve].field];
  }

  /** Value of a curve at `time`, straight between its samples; null off its ends. */
  at(curve, time) {
    const values = this.values(curve);
    const after = this.times.findIndex((sample) => sample >= time);
    if (after < 0) return null;
    if (after === 0) return this.times[0] === time ? values[0] : null;
    const [t0, t1] = [this.times[after - 1], this.times[after]];
    const [v0, v1] = [values[after - 1], values[after]];
    if (!isNumber(v0) || !isNumber(v1)) return null;
    return v0 + ((time - t0) / (t1 - t0)) * (v1 - v0);
  }

  /** First and last moment to show: the whole swing, or transition and downswing alone. */
  range(events, close) {
    const times = events.map((event) => event.time);
    const takeaway = events.find((event) => event.name === "takeaway_s")?.time ?? this.start;
    const from = close ? DOWN_FROM_S : takeaway - LEAD_IN_S;
    const to = Math.max(0, ...times) + LEAD_OUT_S * (close ? 0.3 : 1);
    return [Math.max(from, this.start), Math.min(to, this.end)];
  }
}
