import assert from "node:assert/strict";
import { test } from "node:test";
import { ColumnDictionary } from "../../../web/js/models/column-dictionary.js";
import { LiveState } from "../../../web/js/models/live-state.js";
import { NumberSlots } from "../../../web/js/models/number-slots.js";
import { RANGE_NUMBERS } from "../../../web/js/models/range-numbers.js";
import { announcement, readingOf } from "../../../web/js/models/reading.js";
import { stateLine } from "../../../web/js/models/sensor-state.js";
import { SessionSwings } from "../../../web/js/models/session-swings.js";

const dictionary = new ColumnDictionary([
  { name: "separation_top_deg", unit: "\u00b0", label: "Separation at top", decimals: 1 },
  { name: "transition_lead_ms", unit: "ms", label: "Transition lead", decimals: 0 },
]);
const swing = (number, metrics, more = {}) => ({
  id: `s-${number}`, session_id: "s", number, metrics, flags: [], usable: true, ...more,
});
const session = { id: "s", golfer_name: "M", swing_count: 0, ended_at: null, calibrated: true };
const streams = ["pelvis", "upper_back"].map((segment) => (
  { stream_id: segment, segment, state: "streaming", rate_hz: 200, lost: 0 }));
const numberOf = (column) => RANGE_NUMBERS.find((number) => number.column === column);
const open = { kind: "open" };

test("a swing that is sent again replaces itself and is not counted twice", () => {
  const swings = new SessionSwings([swing(1, { tempo: 3 })]);
  assert.equal(swings.add(swing(1, { tempo: 4 })), false);
  assert.equal(swings.count, 1);
  assert.equal(swings.last.metrics.tempo, 4);
});

test("the average takes earlier usable swings only, and at least two", () => {
  const swings = new SessionSwings([
    swing(1, { x: 10 }), swing(2, { x: 99 }, { usable: false }), swing(3, { x: null }), swing(4, { x: 20 }),
  ]);
  assert.equal(swings.averageBefore(swings.all[3], "x"), null);
  swings.add(swing(5, { x: 500 }));
  assert.deepEqual(swings.averageBefore(swings.last, "x"), { mean: 15, n: 2 });
});

test("a reading says value, sign and change in words", () => {
  const swings = new SessionSwings([40, 42, 44.25].map((value, i) => swing(i + 1, { separation_top_deg: value })));
  const reading = readingOf(numberOf("separation_top_deg"), swings, dictionary);
  assert.equal(reading.number, "44.3");
  assert.equal(reading.sign, "shoulders past hips");
  assert.equal(reading.change, "3.3\u00b0 above the average so far");
});

test("the sign of the transition lead says who starts down first", () => {
  const said = (value) => numberOf("transition_lead_ms").sign(value);
  assert.equal(said(38), "pelvis starts down first");
  assert.equal(said(-22), "upper back starts down first");
  assert.equal(said(2), "both start down together");
});

test("a number that could not be had is said to be missing", () => {
  const swings = new SessionSwings([swing(1, { separation_top_deg: null })]);
  const reading = readingOf(numberOf("separation_top_deg"), swings, dictionary);
  assert.equal(reading.number, "\u2013");
  assert.equal(reading.sign, "not available for this swing");
});

test("a swing is announced with its number, unit in words, and what to know of it", () => {
  const swings = new SessionSwings([
    swing(7, { transition_lead_ms: 38.4 }, { flags: [{ code: "gap", text: "Samples were lost." }] }),
  ]);
  assert.equal(announcement(numberOf("transition_lead_ms"), swings, dictionary),
    "Swing 7. Transition lead: 38 milliseconds, pelvis starts down first. Samples were lost.");
});

test("choosing a tile swaps it with the large number", () => {
  const slots = new NumberSlots("transition_lead_ms");
  const first = slots.tiles[0];
  slots.choose(0);
  assert.equal(slots.large, first);
  assert.equal(slots.tiles[0].column, "transition_lead_ms");
  assert.equal(new NumberSlots("no such column").large.column, "separation_top_deg");
});

test("messages of the live channel build up the page's knowledge", () => {
  const state = new LiveState();
  assert.equal(state.apply({ type: "hello", session, swings: [swing(1, {})], streams }), "session");
  assert.equal(state.apply({ type: "swing", swing: swing(2, {}) }), "swing");
  assert.equal(state.apply({ type: "swing", swing: swing(2, {}) }), "session");
  assert.equal(state.apply({ type: "swing", swing: { ...swing(3, {}), session_id: "other" } }), null);
  assert.equal(state.apply({ type: "a kind of a later version" }), null);
  assert.equal(state.swings.count, 2);
  state.apply({ type: "session", session: { ...session, id: "t" } });
  assert.equal(state.swings.count, 0);
});

test("swings fetched later stand under those that came live", () => {
  const state = new LiveState();
  state.apply({ type: "hello", session: { ...session, swing_count: 3 }, swings: [swing(3, { x: "live" })], streams });
  assert.equal(state.swingCount, 3);
  state.backfill("s", [swing(1, {}), swing(2, {}), swing(3, { x: "older" })]);
  assert.deepEqual(state.swings.all.map((one) => one.number), [1, 2, 3]);
  assert.equal(state.swings.last.metrics.x, "live");
  state.backfill("another session", [swing(9, {})]);
  assert.equal(state.swings.count, 3);
});

const line = (more) => stateLine({ channel: open, session, streams, calibration: { calibrated: true }, ...more });

test("the state line is ready only while both sensors stream, calibrated", () => {
  assert.equal(line({}).level, "ready");
  assert.match(line({}).detail, /200\u00a0Hz/);
  assert.equal(line({}).text, "Ready for a swing.");
  assert.equal(line({ calibration: { calibrated: false, text: "Bow again." } }).text, "Bow again.");
});

test("a silent, lost, slow or missing sensor is loud, by name", () => {
  for (const state of ["silent", "lost", "slow"]) {
    const said = line({ streams: [streams[0], { ...streams[1], state }] });
    assert.equal(said.level, "loud");
    assert.match(said.text, /^Upper back sensor/);
  }
  assert.match(line({ streams: [streams[1]] }).text, /^Pelvis sensor missing/);
  assert.match(line({ streams: streams.map((one) => ({ ...one, swapped: true })) }).text, /wrong way round/);
});

test("a sensor that loses samples is loud at once, and no longer once it has lost none for a while", () => {
  const state = new LiveState();
  const told = (seen, lost) => {
    const of = streams.map((one) => ({ ...one, last_seen_s: seen, lost: one.segment === "pelvis" ? lost : 0 }));
    state.apply({ type: "status", streams: of });
    return line({ streams: state.streams, losing: state.losing });
  };
  assert.equal(told(1, 0).level, "ready");
  assert.deepEqual(told(2, 20), {
    level: "loud", text: "Pelvis sensor loses samples: bring it near, keep the body out of the way.",
  });
  assert.equal(told(8, 20).level, "ready");
});

test("a lost connection is loud and says when it tries again", () => {
  const said = line({ channel: { kind: "lost", retryMs: 4000 } });
  assert.equal(said.level, "loud");
  assert.match(said.text, /Trying again in 4 s/);
});

test("a service that stores nothing says so before all else, until it does again", () => {
  const state = new LiveState();
  const trouble = "the disk with the database is full: free some space on it";
  assert.equal(state.apply({ type: "status", streams, trouble }), "status");
  const said = line({ trouble: state.trouble });
  assert.deepEqual(said, { level: "loud", text: "The disk with the database is full: free some space on it." });
  state.apply({ type: "status", streams, trouble: null });
  assert.equal(line({ trouble: state.trouble }).level, "ready");
  assert.equal(state.tracesAreRaw, false, "there is no session");
  state.apply({ type: "session", session: { ...session, calibrated: false } });
  assert.equal(state.tracesAreRaw, true);
  state.apply({ type: "calibration", calibrated: true, text: "" });
  state.apply({ type: "calibration", calibrated: false, text: "No bow was seen." });
  assert.equal(state.tracesAreRaw, false, "the calibration before is still in force");
  const late = "Swings show 12 s late: this computer is too busy.";
  state.apply({ type: "status", streams, late });
  assert.deepEqual(line({ late: state.late }), { level: "warn", text: late });
});

test("no session and an ended session are calm", () => {
  assert.match(line({ session: null }).text, /No session is open/);
  assert.match(line({ session: { ...session, ended_at: "2026-01-01T00:00:00Z" } }).text, /has ended/);
  assert.equal(line({ streams: [] }).level, "calm");
});

test("sensors that seem to be worn the wrong way round are said loudly", () => {
  const swapped = streams.map((stream) => ({ ...stream, swapped: true }));
  const { level, text } = stateLine({ channel: open, session, streams: swapped, calibration: null });
  assert.equal(level, "loud");
  assert.match(text, /worn the wrong way round/);
});
