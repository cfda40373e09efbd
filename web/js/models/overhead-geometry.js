/** Hip line and shoulder line seen from above.
 *
 * The golfer faces up the page, so the golfer's left is the page's left. The target lies to the
 * left of a right-hander and to the right of a left-hander. A turn is positive toward the target:
 * counter-clockwise from above for a right-hander, clockwise for a left-hander. Page angles are
 * clockwise, as SVG counts them.
 */

const DEGREE = Math.PI / 180;

/** -1: the target is to the left of the page, 1: to the right. */
export function targetSide(handedness) {
  return handedness === "left" ? 1 : -1;
}

/** Clockwise page angle, degrees, of a turn. */
export function pageAngle(turnDeg, handedness) {
  return turnDeg * targetSide(handedness);
}

/** Ends of a line of half length `half` about the origin: lead end (target side at address),
 * trail end, and a point in front of its middle at distance `ahead`. */
export function bodyLine(turnDeg, handedness, half, ahead) {
  const angle = pageAngle(turnDeg, handedness) * DEGREE;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  const side = targetSide(handedness);
  return {
    lead: { x: side * half * cos, y: side * half * sin },
    trail: { x: -side * half * cos, y: -side * half * sin },
    front: { x: ahead * sin, y: -ahead * cos },
  };
}

/** SVG path of the arc between the lead ends of two lines at `radius`, the short way. */
export function separationArc(pelvisDeg, upperBackDeg, handedness, radius) {
  const from = bodyLine(pelvisDeg, handedness, radius, 0).lead;
  const to = bodyLine(upperBackDeg, handedness, radius, 0).lead;
  const clockwise = pageAngle(upperBackDeg - pelvisDeg, handedness) > 0 ? 1 : 0;
  const large = Math.abs(upperBackDeg - pelvisDeg) > 180 ? 1 : 0;
  return `M${at(from)}A${radius} ${radius} 0 ${large} ${clockwise} ${at(to)}`;
}

function at({ x, y }) {
  return `${x.toFixed(2)} ${y.toFixed(2)}`;
}

/** A turn in golf words, for a label or a screen reader. */
export function turnText(turnDeg) {
  const degrees = Math.round(Math.abs(turnDeg));
  if (degrees === 0) return "square to address";
  return `${degrees}\u00b0 ${turnDeg < 0 ? "away from" : "toward"} the target`;
}
