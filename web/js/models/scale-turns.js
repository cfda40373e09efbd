/** The scale check of one sensor in words: which faces are done, and what came of it. */

export const MOST_TURNS = 20;
export const LONGEST_S = 120;

const AXES = ["x", "y", "z"];

/** `check`: the service's last answer for a sensor, or undefined. */
export function faces(check) {
  const done = AXES.filter((axis) => check?.done || check?.sets?.includes(axis));
  return AXES.map((axis) => {
    const isDone = done.includes(axis);
    return { done: isDone, text: `${axis}: ${isDone ? "done" : "to do"}` };
  });
}

/** @returns {good, head, text}; good null: on the way. */
export function scaleVerdict({ sets, done, text, factors, u }) {
  if (!done) return { good: null, head: `Face ${sets.length} of ${AXES.length} done`, text };
  const found = AXES.map((axis, i) => `${axis} ${percent(factors[i] - 1)} \u00b1\u00a0${size(2 * u[i])}\u00a0%`);
  return { good: true, head: "Good", text: `${text} Corrections: ${found.join(", ")}.` };
}

function percent(share) {
  return `${share < 0 ? "\u2212" : "+"}${size(Math.abs(share))}\u00a0%`;
}

function size(share) {
  return (100 * share).toFixed(2);
}
