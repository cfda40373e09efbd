import assert from "node:assert/strict";
import { test } from "node:test";
import { chartFigure, chartFrame } from "../../../web/js/models/chart-figure.js";
import { askedFor, comparedWith, swingLink } from "../../../web/js/models/deep-link.js";
import { dotPositions } from "../../../web/js/models/dot-positions.js";
import { endWithRoom, labelRows } from "../../../web/js/models/label-rows.js";
import { metricGroups } from "../../../web/js/models/metric-groups.js";
import { Playhead } from "../../../web/js/models/playhead.js";
import { summaryOf } from "../../../web/js/models/session-summary.js";
import { SwingCurves } from "../../../web/js/models/swing-curves.js";
import { eventsOf, momentText, topOf } from "../../../web/js/models/swing-events.js";
import { nextOrder, sortSwings } from "../../../web/js/models/swing-sort.js";
import { SPAN_S, TraceBuffer } from "../../../web/js/models/trace-buffer.js";

const swing = {
  id: "abc-3", session_id: "abc", number: 3, metrics: { impact_method: "estimate" }, flags: [],
  events: {
    takeaway_s: 99.1, upper_back_reversal_s: 100, pelvis_reversal_s: 99.95, separation_max_s: 100.05,
    pelvis_peak_s: 100.15, upper_back_peak_s: 100.2, impact_s: 100.27,
  },
};
const times = Array.from({ length: 301 }, (_, i) => 98.5 + i * 0.01);
const answer = {
  time_s: times, pelvis_turn_deg: times.map((t) => 10 * (t - 100)),
  upper_back_turn_deg: times.map((t) => 20 * (t - 100)), separation_deg: times.map((t) => -10 * (t - 100)),
  pelvis_velocity_dps: times.map(() => 10), upper_back_velocity_dps: times.map(() => 20),
};
const curves = new SwingCurves(answer, topOf(swing));
const palette = { pelvis: "p", upper_back: "u", ink: "i", inkSoft: "s", rule: "r", ruleStrong: "rs", sheet: "w", face: "f" };

test("events come in order of time, relative to the top, with an estimate marked", () => {
  const events = eventsOf(swing);
  assert.deepEqual(events.map((event) => event.label), ["takeaway", "pelvis starts down", "top",
    "most separation", "pelvis fastest", "upper back fastest", "impact (estimate)"]);
  assert.ok(Math.abs(events[1].time + 0.05) < 1e-9);
  const struck = { ...swing, metrics: { impact_method: "strike" } };
  assert.equal(eventsOf(struck).at(-1).label, "impact");
  const { impact_s: gone, ...rest } = swing.events;
  assert.equal(eventsOf({ ...swing, events: rest }).length, 6);
  assert.ok(gone > 0);
});

test("a moment is said against the top", () => {
  assert.equal(momentText(-0.0501), "50 ms before the top");
  assert.equal(momentText(0.12), "120 ms after the top");
  assert.equal(momentText(0.0001), "at the top");
});

test("curves are read straight between samples and not beyond their ends", () => {
  assert.ok(Math.abs(curves.at("pelvisTurn", -0.505) + 5.05) < 1e-6);
  assert.equal(curves.at("pelvisTurn", 99), null);
  assert.equal(curves.at("pelvisTurn", -99), null);
});

test("no name is written over another, and no line cuts a name", () => {
  const labels = [0, 10, 30, 31, 200, 230].map((x) => ({ x, width: 50 }));
  const rows = labelRows(labels);
  labels.forEach((a, i) => labels.slice(i + 1).forEach((b, k) => {
    const reaches = b.x < a.x + a.width;
    if (reaches) assert.ok(rows[i] > rows[i + 1 + k], `${i} must stand above ${i + 1 + k}`);
  }));
  assert.equal(rows.at(-1), 0);
});

test("the time axis leaves room for the last name", () => {
  const end = endWithRoom([-1, 0.3], [{ time: 0.27, width: 100 }], 400);
  const pixels = ((end - 0.27) / (end + 1)) * 400;
  assert.ok(pixels >= 100, `${pixels} px for a name of 100`);
  assert.equal(endWithRoom([-1, 2], [{ time: 0.27, width: 100 }], 400), 2);
});

test("the charts name every event and tell segments apart without colour", () => {
  const frame = chartFrame(curves, eventsOf(swing), 700, false);
  const { data, layout } = chartFigure(curves, frame, palette, 600);
  const names = layout.annotations.map((annotation) => annotation.text);
  for (const { label } of eventsOf(swing)) assert.ok(names.includes(label), label);
  assert.equal(layout.shapes.length, 7);
  const [pelvis, upperBack] = data;
  assert.notEqual(pelvis.line.dash, upperBack.line.dash);
  assert.equal(new Set(data.filter((one) => one.mode === "markers").map((one) => one.marker.symbol)).size, 3);
});

test("the close view leaves the takeaway out", () => {
  const frame = chartFrame(curves, eventsOf(swing), 700, true);
  assert.ok(frame.shown.every((event) => event.name !== "takeaway_s"));
});

test("the playhead stays within the swing and tells its listeners", () => {
  const playhead = new Playhead();
  const heard = [];
  const stop = playhead.listen((time) => heard.push(time));
  playhead.reset(-1, 0.5, 0);
  playhead.moveTo(9);
  stop();
  playhead.moveTo(-9);
  assert.deepEqual(heard, [0, 0.5]);
  assert.equal(playhead.time, -1);
});

test("swings sort both ways with what is missing last", () => {
  const rows = [{ number: 1, metrics: { x: 2 } }, { number: 2, metrics: { x: null } }, { number: 3, metrics: { x: 1 } }];
  const numbers = (order) => sortSwings(rows, order).map((row) => row.number);
  assert.deepEqual(numbers({ key: "x", descending: false }), [3, 1, 2]);
  assert.deepEqual(numbers({ key: "x", descending: true }), [1, 3, 2]);
  assert.deepEqual(numbers(nextOrder({ key: "number", descending: false }, "number")), [3, 2, 1]);
});

test("mean and spread take usable swings; spread has n - 1 in the divisor", () => {
  const rows = [2, 4, 4, 4, 5, 5, 7, 9].map((x) => ({ usable: true, metrics: { x } }));
  const { mean, sd } = summaryOf([...rows, { usable: false, metrics: { x: 1000 } }], "x");
  assert.equal(mean, 5);
  assert.ok(Math.abs(sd - Math.sqrt(32 / 7)) < 1e-12);
  assert.deepEqual(summaryOf([], "x"), { n: 0, mean: null, sd: null });
});

test("every column finds a group and none is in two", () => {
  const names = ["swing", "quality", "pelvis_turn_top_deg", "separation_max_deg", "separation_max_s", "tempo",
    "pelvis_runway_deg", "pelvis_peak_dps", "pelvis_peak_power_w", "a_column_of_a_later_version"];
  const shown = metricGroups(names).flatMap((group) => group.names);
  assert.deepEqual([...shown].sort(), names.slice(2).sort());
});

test("deep links lead back to what they name", () => {
  assert.deepEqual(askedFor(swingLink(swing).split("?")[1]), { session: "abc", swing: "abc-3", before: null });
  assert.deepEqual(askedFor(""), { session: null, swing: null, before: null });
  const compared = comparedWith(swingLink(swing), "def");
  assert.deepEqual(askedFor(compared.split("?")[1]), { session: "abc", swing: "abc-3", before: "def" });
  assert.equal(comparedWith(compared, null), swingLink(swing));
});

test("the trace keeps the last seconds and its scale goes in steps", () => {
  const buffer = new TraceBuffer();
  const push = (time, velocity) => buffer.push({
    time_s: [time], pelvis_velocity_dps: [velocity], upper_back_velocity_dps: [null],
  });
  for (let time = 0; time < 3 * SPAN_S; time += 0.5) push(time, 10);
  assert.ok(buffer.points[0].time >= buffer.end - SPAN_S);
  assert.equal(buffer.scale, 200);
  push(3 * SPAN_S, -430);
  assert.equal(buffer.scale, 600);
  push(0.5, 10);
  assert.equal(buffer.points.length, 1);
});

test("the newest dot stands at the right edge, larger values higher", () => {
  const trend = [1, 3, 2].map((value) => ({ value, usable: true }));
  const { dots, averageY } = dotPositions(trend, 2, 240, 48, 7);
  assert.equal(dots.at(-1).x, 233);
  assert.ok(dots[1].y < dots[0].y);
  assert.equal(averageY, dots[2].y);
  assert.equal(dotPositions([{ value: 5, usable: true }], null, 240, 48, 7).dots[0].y, 24);
});
