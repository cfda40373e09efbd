/** Stands and bows that count together: how many, and what another one would bring. */

export const REPEATS = 3;

const MORE = [
  "",
  `1 of ${REPEATS}: good already. Two more make the angles surer.`,
  `2 of ${REPEATS}: one more makes the angles surer.`,
];

/** `done`: good ones so far. */
export function repeatsText(done) {
  return MORE[done] ?? `${Math.min(done, REPEATS)} of ${REPEATS}: as sure as it gets. Ready for swings.`;
}

export function repeatLabel(done) {
  if (done === 0) return "Stand and bow";
  return done < REPEATS ? `Stand and bow, ${done + 1} of ${REPEATS}` : "Stand and bow again";
}
