/** Where the dots of a small trend stand. */

const LEAST_SPREAD = 1e-9;

/** @returns {dots: [{x, y, usable, last}], averageY}; the newest dot stands at the right edge. */
export function dotPositions(trend, average, width, height, margin) {
  const values = trend.map(({ value }) => value);
  const shown = average === null ? values : [...values, average];
  const low = Math.min(...shown);
  const spread = Math.max(...shown) - low;
  const y = (value) => (spread < LEAST_SPREAD
    ? height / 2
    : height - margin - ((value - low) / spread) * (height - 2 * margin));
  const step = (width - 2 * margin) / Math.max(trend.length - 1, 1);
  const dots = trend.map(({ value, usable }, i) => ({
    x: width - margin - (trend.length - 1 - i) * step,
    y: y(value),
    usable,
    last: i === trend.length - 1,
  }));
  return { dots, averageY: average === null || trend.length === 0 ? null : y(average) };
}
