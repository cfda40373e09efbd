/** The three charts of a swing as one plotly figure on one time axis. No DOM, no plotly. */

import { endWithRoom, labelRows } from "./label-rows.js";

export const MARGIN = { left: 52, right: 14, bottom: 40 };
const LABEL_ROW = 17; // px
const LETTER = 6.6; // px, an upper bound for 12 px type
const ROWS = [
  { axis: "y", domain: [0.68, 1], title: "Turn, \u00b0 (up: toward the target)" },
  { axis: "y2", domain: [0.40, 0.60], title: "Separation, \u00b0" },
  { axis: "y3", domain: [0, 0.32], title: "Turning speed, \u00b0/s (up: toward the target)" },
];
const LINES = [
  { curve: "pelvisTurn", axis: "y", side: "pelvis" },
  { curve: "upperBackTurn", axis: "y", side: "upper_back" },
  { curve: "separation", axis: "y2", side: null },
  { curve: "pelvisVelocity", axis: "y3", side: "pelvis" },
  { curve: "upperBackVelocity", axis: "y3", side: "upper_back" },
];
/** A segment's line and marker; separation is neither's. */
const STYLES = {
  pelvis: { dash: "solid", width: 3, symbol: "square" },
  upper_back: { dash: "9px,4px", width: 3, symbol: "circle-open" },
  null: { dash: "8px,3px,2px,3px", width: 2, symbol: "diamond" },
};

/** Time range and label rows for a width in px. @returns {range, rows, top} */
export function chartFrame(curves, events, width, close) {
  const plotWidth = width - MARGIN.left - MARGIN.right;
  const [start, end] = curves.range(events, close);
  const shown = events.filter((event) => event.time >= start);
  const wide = shown.map((event) => ({ time: event.time, width: event.label.length * LETTER }));
  const range = [start, endWithRoom([start, end], wide, plotWidth)];
  const scale = plotWidth / (range[1] - range[0]);
  const rows = labelRows(wide.map((label) => ({ x: (label.time - start) * scale, width: label.width })));
  return { range, shown, rows, top: (Math.max(0, ...rows) + 2) * LABEL_ROW + 8 };
}

/** @returns {data, layout} for plotly; `palette` colours by meaning, `height` px. */
export function chartFigure(curves, frame, palette, height) {
  return {
    data: [...LINES.map((line) => trace(line, curves, palette)), ...markers(curves, frame, palette)],
    layout: layout(frame, palette, height),
  };
}

function colourOf(side, palette) {
  return side === null ? palette.ink : palette[side];
}

function trace({ curve, axis, side }, curves, palette) {
  const { dash, width } = STYLES[side];
  return {
    type: "scatter", mode: "lines", x: curves.times, y: curves.values(curve), yaxis: axis,
    line: { color: colourOf(side, palette), dash, width }, connectgaps: false,
  };
}

/** One marker per event and curve that carries it. */
function markers(curves, { shown }, palette) {
  return LINES.map(({ curve, axis, side }) => {
    const here = shown.filter((event) => event.on.includes(curve));
    return {
      type: "scatter", mode: "markers", yaxis: axis, cliponaxis: false,
      x: here.map((event) => event.time), y: here.map((event) => curves.at(curve, event.time)),
      marker: {
        color: colourOf(side, palette), size: 10, symbol: STYLES[side].symbol,
        line: { width: 2.5, color: colourOf(side, palette) },
      },
    };
  });
}

function layout(frame, palette, height) {
  const plotHeight = height - frame.top - MARGIN.bottom;
  return {
    height, autosize: true, showlegend: false, hovermode: false, dragmode: false,
    margin: { l: MARGIN.left, r: MARGIN.right, t: frame.top, b: MARGIN.bottom },
    paper_bgcolor: palette.sheet, plot_bgcolor: palette.sheet,
    font: { family: palette.face, size: 12, color: palette.ink },
    xaxis: { ...axis(palette), range: frame.range, anchor: "y3", ticksuffix: " s",
      title: { text: "time from the top", standoff: 4 } },
    yaxis: { ...axis(palette), domain: ROWS[0].domain },
    yaxis2: { ...axis(palette), domain: ROWS[1].domain },
    yaxis3: { ...axis(palette), domain: ROWS[2].domain },
    shapes: frame.shown.map((event, i) => eventLine(event, frame.rows[i], palette, plotHeight)),
    annotations: [
      ...ROWS.map((row) => rowTitle(row, palette)),
      ...frame.shown.map((event, i) => eventName(event, frame.rows[i], palette, plotHeight)),
    ],
  };
}

function axis(palette) {
  return {
    gridcolor: palette.rule, zerolinecolor: palette.ruleStrong, zerolinewidth: 1,
    fixedrange: true, automargin: false, nticks: 6, ticklabelstandoff: 5, tickfont: { color: palette.inkSoft, size: 12 },
  };
}

/** Paper height of a row of names; the first stands above the title of the top chart. */
function above(row, plotHeight) {
  return 1 + ((row + 1) * LABEL_ROW + 4) / plotHeight;
}

function eventLine({ time, name }, row, palette, plotHeight) {
  return {
    type: "line", xref: "x", yref: "paper", x0: time, x1: time, y0: 0, layer: "below",
    y1: above(row + 0.8, plotHeight),
    line: { color: palette.ruleStrong, width: 1, dash: name === "top_s" ? "solid" : "3px,3px" },
  };
}

function eventName({ label, time }, row, palette, plotHeight) {
  return {
    text: label, x: time, xref: "x", xanchor: "left", xshift: 2, showarrow: false, borderpad: 0,
    y: above(row, plotHeight), yref: "paper", yanchor: "bottom",
    font: { size: 12, color: palette.ink },
  };
}

function rowTitle({ title, domain }, palette) {
  return {
    text: title, x: 0, xref: "paper", xanchor: "left", showarrow: false,
    y: domain[1], yref: "paper", yanchor: "bottom", bgcolor: palette.sheet, borderpad: 1,
    font: { size: 12, color: palette.inkSoft },
  };
}
