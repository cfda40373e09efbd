/** Rows for the names above the event lines, so that no name is written over and no line cuts one.
 *
 * A name begins at its own line and runs to the right; each stands above every later one that it
 * reaches.
 */

const GAP = 6; // px between a name and the next line

/** @returns the row of each label, 0 lowest; labels {x, width} in px, ordered by x. */
export function labelRows(labels) {
  const rows = new Array(labels.length).fill(0);
  for (let i = labels.length - 2; i >= 0; i -= 1) {
    const reach = labels[i].x + labels[i].width + GAP;
    for (let j = i + 1; j < labels.length && labels[j].x < reach; j += 1) {
      rows[i] = Math.max(rows[i], rows[j] + 1);
    }
  }
  return rows;
}

/** The end of a time range that leaves each name its room before the right edge.
 *
 * `events` [{time, width}], width and `plotWidth` in px.
 */
export function endWithRoom([start, end], events, plotWidth) {
  return events.reduce((latest, { time, width }) => {
    const room = plotWidth - width - GAP;
    return room <= 0 ? latest : Math.max(latest, start + ((time - start) * plotWidth) / room);
  }, end);
}
