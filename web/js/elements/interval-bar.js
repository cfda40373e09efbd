/** A difference and its range as a small drawing: the thin upright line is "no change".
 *
 * A filled dot says changed, a ring not shown; the words stand beside it.
 */

import { svg } from "../lib/dom.js";
import { intervalPlaces } from "../models/interval-bar.js";

const WIDTH = 200;
const HEIGHT = 28;
const CAP = 6; // half height of the ends of a range

/** @returns an svg element; `label` says the same in words. */
export function intervalBar(interval, label) {
  const { zero, low, high, change } = intervalPlaces(interval, WIDTH);
  const middle = HEIGHT / 2;
  const upright = (x, half, kind) =>
    svg("line", { class: kind, x1: x, x2: x, y1: middle - half, y2: middle + half });
  return svg("svg", { class: "interval", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": label },
    upright(zero, middle, "interval-zero"),
    svg("line", { class: "interval-range", x1: low, x2: high, y1: middle, y2: middle }),
    upright(low, CAP, "interval-range"), upright(high, CAP, "interval-range"),
    svg("circle", { class: interval.changed ? "interval-dot" : "interval-ring", cx: change, cy: middle, r: 5.5 }));
}
