/** The last swings of one number as dots: ring = left out of averages, bar = average so far. */

import { set, svg } from "../lib/dom.js";
import { formatWithUnit } from "../models/number-format.js";
import { dotPositions } from "../models/dot-positions.js";

const WIDTH = 240;
const HEIGHT = 48;
const MARGIN = 7;

export class DotTrend {
  #element;

  constructor(element) {
    this.#element = element;
    set(element, { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img" });
  }

  /** `trend` as SessionSwings.trend; `average` number or null. */
  show(trend, average, column) {
    const { dots, averageY } = dotPositions(trend, average, WIDTH, HEIGHT, MARGIN);
    this.#element.replaceChildren(title(trend, column), ...bar(averageY), ...dots.map(dot));
    set(this.#element, { hidden: trend.length < 2 });
  }
}

function title(trend, column) {
  const values = trend.map(({ value }) => formatWithUnit(value, column)).join(", ");
  return svg("title", {}, `Last ${trend.length} swings, oldest first: ${values}`);
}

function bar(y) {
  if (y === null) return [];
  return [svg("line", { class: "trend-average", x1: 0, x2: WIDTH, y1: y, y2: y })];
}

function dot({ x, y, usable, last }) {
  const kind = [usable ? "trend-dot" : "trend-ring", last ? "trend-last" : ""].join(" ").trim();
  return svg("circle", { class: kind, cx: x, cy: y, r: last ? 6 : 4 });
}
