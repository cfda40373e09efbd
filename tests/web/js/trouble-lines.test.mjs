import assert from "node:assert/strict";
import { test } from "node:test";
import { troubleLines } from "../../../web/js/models/trouble-lines.js";
import { SensorsState } from "../../../web/js/models/sensors-state.js";
import { sensorsLine } from "../../../web/js/models/sensors-line.js";

const trouble = { text: "Pelvis sensor slow for 2.0 s", at: "2026-05-04T10:00:00Z" };

test("a trouble is one line with its moment", () => {
  assert.match(troubleLines([trouble])[0], /^Pelvis sensor slow for 2\.0 s at \d\d:\d\d:\d\d$/);
});

test("of many troubles the first twenty stand and the rest are counted", () => {
  const lines = troubleLines(Array(33).fill(trouble));
  assert.equal(lines.length, 21);
  assert.equal(lines.at(-1), "and 13 more");
});

test("a session without trouble has no line", () => {
  assert.deepEqual(troubleLines([]), []);
});

test("twenty troubles all stand and no rest is counted", () => {
  const lines = troubleLines(Array(20).fill(trouble));
  assert.equal(lines.length, 20);
  assert.doesNotMatch(lines.at(-1), /more/);
});

test("the Sensors page says that the service stores nothing, until it does again", () => {
  const state = new SensorsState();
  state.applySensors({ radio: { ...state.radio, enabled: true }, sensors: [], swapped: false });
  const trouble = "the disk with the database is full: free some space on it";
  assert.equal(state.applyLive({ type: "status", streams: [], trouble }), true);
  assert.deepEqual(sensorsLine(state), {
    level: "loud",
    text: "The disk with the database is full: free some space on it.",
  });
  state.applyLive({ type: "status", streams: [], trouble: null });
  assert.equal(sensorsLine(state).level, "calm");
});
