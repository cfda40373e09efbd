/** The events of a swing by name, in words and in order of time. */

import { isNumber } from "./number-format.js";
import { isDwell, isStrike } from "./swing-number.js";

/** `on`: the curves that carry the event's marker; `side`: the segment it belongs to. */
const EVENTS = [
  { name: "takeaway_s", label: "takeaway", on: [], side: null },
  { name: "pelvis_reversal_s", label: "pelvis starts down", on: ["pelvisTurn", "pelvisVelocity"], side: "pelvis" },
  { name: "top_s", label: "top", on: ["upperBackTurn", "upperBackVelocity"], side: "upper_back" },
  { name: "separation_max_s", label: "most separation", on: ["separation"], side: null },
  { name: "pelvis_peak_s", label: "pelvis fastest", on: ["pelvisVelocity"], side: "pelvis" },
  { name: "upper_back_peak_s", label: "upper back fastest", on: ["upperBackVelocity"], side: "upper_back" },
  { name: "impact_s", label: "impact", on: [], side: null },
];

/** The top in session time, s: the upper back's reversal under either of its names. */
export function topOf(swing) {
  return swing.events.top_s ?? swing.events.upper_back_reversal_s ?? swing.metrics.top_s;
}

/** @returns [{name, label, time, on, side}], time s after the top; what is missing is left out. */
export function eventsOf(swing) {
  const top = topOf(swing);
  const times = { ...swing.events, top_s: top };
  return EVENTS
    .filter((event) => isNumber(times[event.name]))
    .map((event) => ({ ...event, label: labelOf(event, swing), time: times[event.name] - top }))
    .sort((a, b) => a.time - b.time);
}

function labelOf({ name, label }, swing) {
  if (name === "impact_s" && !isStrike(swing)) return `${label} (estimate)`;
  return isDwell(swing, name) ? `${label} (dwell)` : label;
}

/** A moment in words: "120 ms before the top". */
export function momentText(time) {
  const ms = Math.round(Math.abs(time) * 1000);
  if (ms === 0) return "at the top";
  return `${ms} ms ${time < 0 ? "before" : "after"} the top`;
}
