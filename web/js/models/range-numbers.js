/** The numbers that Range offers: what each says in golf words, and what its sign means.
 *
 * Label, unit and decimals come from the data dictionary.
 */

const TOGETHER_MS = 5; // two sensors' clocks agree within about this; nearer is "together"
const GREW_DEG = 0.5; // less is within what the sensors can tell

/** `column`, `meaning`, `side` (segment it belongs to, or null), `sign(value)` in words. */
export const RANGE_NUMBERS = Object.freeze([
  {
    column: "separation_top_deg",
    meaning: "How far the shoulders have turned past the hips when they stop going back",
    side: null,
    sign: (value) => (value >= 0 ? "shoulders past hips" : "hips past shoulders"),
  },
  {
    column: "separation_gain_deg",
    meaning: "How much more stretch the start of the downswing adds",
    side: null,
    sign: (value) => (value >= GREW_DEG ? "stretches after the top" : "no stretch after the top"),
  },
  {
    column: "transition_lead_ms",
    meaning: "Who changes direction first, hips or shoulders, and by how long",
    side: null,
    sign: (value) => first(value, "pelvis starts down first", "upper back starts down first",
      "both start down together"),
  },
  {
    column: "pelvis_peak_dps",
    meaning: "Fastest turn of the hips in the downswing",
    side: "pelvis",
    sign: () => "hips, toward the target",
  },
  {
    column: "upper_back_peak_dps",
    meaning: "Fastest turn of the shoulders in the downswing",
    side: "upper_back",
    sign: () => "shoulders, toward the target",
  },
  {
    column: "peak_gap_ms",
    meaning: "Time from the hips\u2019 fastest moment to the shoulders\u2019",
    side: null,
    sign: (value) => first(value, "pelvis peaks first", "upper back peaks first",
      "both peak together"),
  },
  {
    column: "tempo",
    meaning: "Time going back for each one coming down",
    side: null,
    sign: () => "parts back to 1 down",
  },
  {
    column: "runway_deg",
    meaning: "Angle the shoulders have to build speed in, from the top to their fastest",
    side: "upper_back",
    sign: () => "top to fastest",
  },
  {
    column: "mean_rate_dps2",
    meaning: "How quickly shoulder speed is built over that runway",
    side: "upper_back",
    sign: () => "speed built per second",
  },
]);

export const FIRST_CHOICE = "separation_top_deg";

function first(value, positive, negative, neither) {
  if (Math.abs(value) < TOGETHER_MS) return neither;
  return value > 0 ? positive : negative;
}
