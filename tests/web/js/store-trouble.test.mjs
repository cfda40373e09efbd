import assert from "node:assert/strict";
import { test } from "node:test";
import { SensorsState } from "../../../web/js/models/sensors-state.js";
import { sensorsLine } from "../../../web/js/models/sensors-line.js";

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
