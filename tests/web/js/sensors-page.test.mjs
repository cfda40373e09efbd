import assert from "node:assert/strict";
import { mock, test } from "node:test";
import { GuidedStep } from "../../../web/js/models/guided-step.js";
import { barShare, movingSegment } from "../../../web/js/models/motion-bar.js";
import { clockText, factTexts } from "../../../web/js/models/sensor-facts.js";
import { losesSamples, sensorsLine } from "../../../web/js/models/sensors-line.js";
import { SensorsState } from "../../../web/js/models/sensors-state.js";
import { signalStrength } from "../../../web/js/models/signal-strength.js";
import { calibrationVerdict, syncVerdict } from "../../../web/js/models/verdict.js";

const radio = { enabled: true, scanning: false, streaming: false, session_id: null, obstacle: null };
const sensor = (segment, more = {}) => ({ address: segment, name: "S", segment, phase: "streaming", ...more });
const stream = (segment, more = {}) => ({
  stream_id: segment, segment, sensor: "S", state: "streaming", rate_hz: 200, lost: 0, last_seen_s: 10, ...more,
});
const session = { id: "s", ended_at: null, calibrated: false, invented: false };

function streaming({ sensors = [sensor("pelvis"), sensor("upper_back")], more = {}, on = true } = {}) {
  const state = new SensorsState();
  state.channel = { kind: "open" };
  state.applySensors({ radio: { ...radio, streaming: on, ...more }, sensors, swapped: false });
  state.applyLive({ type: "hello", session, swings: [], streams: [stream("pelvis"), stream("upper_back")] });
  return state;
}

test("signal strength is a word and bars, and a sensor that was not heard has none", () => {
  assert.deepEqual([-50, -65, -75, -95].map((rssi) => signalStrength(rssi).bars), [4, 3, 2, 1]);
  assert.equal(signalStrength(-50).text, "strong");
  assert.equal(signalStrength(null).bars, 0);
});

test("clock quality is shown expanded by two and never as nothing", () => {
  assert.equal(clockText(0.6), "Clock good, \u00b1\u00a01.2\u00a0ms");
  assert.equal(clockText(2), "Clock fair, \u00b1\u00a04.0\u00a0ms");
  assert.match(clockText(8), /^Clock poor, .* \u00b1\u00a016\u00a0ms$/);
  assert.equal(clockText(0.001), "Clock good, \u00b1\u00a00.1\u00a0ms");
  assert.equal(clockText(null), "Clock not known yet");
});

test("facts that are not known are said to be so", () => {
  const texts = factTexts({ rate_hz: null, lost: 0, battery_percent: null, clock_u_ms: null });
  assert.deepEqual(texts, ["Rate not known yet", "No samples lost", "Battery not told", "Clock not known yet"]);
  assert.equal(factTexts({ rate_hz: 199.6, lost: 1, battery_percent: 12 })[2], "Battery 12\u00a0%, low");
});

test("the line leads from finding to starting", () => {
  const state = new SensorsState();
  assert.match(sensorsLine(state).text, /Connecting/);
  state.channel = { kind: "open" };
  const told = (more, sensors) => {
    state.applySensors({ radio: { ...radio, ...more }, sensors, swapped: false });
    return sensorsLine(state);
  };
  assert.match(told({ enabled: false }, []).text, /serve --radio/);
  assert.match(told({}, []).text, /press Find sensors/);
  assert.match(told({ scanning: true }, []).text, /Looking/);
  assert.match(told({}, [sensor("pelvis"), sensor(null)]).text, /worn at the upper back/);
  assert.deepEqual(told({}, [sensor("pelvis"), sensor("upper_back")]).level, "ready");
});

test("an obstacle and a lost service are loud", () => {
  const state = streaming({ on: false, more: { obstacle: "Bluetooth is off: switch it on" } });
  assert.deepEqual(sensorsLine(state), { level: "loud", text: "Bluetooth is off: switch it on" });
  state.channel = { kind: "lost" };
  assert.equal(sensorsLine(state).level, "loud");
});

test("a silent, slow, lost, lossy or swapped sensor is loud and says what to do", () => {
  for (const [phase, word] of [["silent", /silent: check/], ["lost", /bring it near/]]) {
    const line = sensorsLine(streaming({ sensors: [sensor("pelvis", { phase }), sensor("upper_back")] }));
    assert.equal(line.level, "loud");
    assert.match(line.text, word);
  }
  const state = streaming();
  assert.match(sensorsLine(state, ["upper_back"]).text, /^Upper back sensor loses samples: bring/);
  state.applyLive({ type: "status", streams: [stream("pelvis", { state: "slow" }), stream("upper_back")] });
  assert.match(sensorsLine(state).text, /^Pelvis sensor sends too slowly/);
  state.swapped = true;
  assert.match(sensorsLine(state).text, /wrong way round/);
});

test("both streaming leads to the calibration and then to swings", () => {
  const state = streaming();
  assert.equal(sensorsLine(state).level, "warn");
  state.applyLive({ type: "calibration", calibrated: true, text: "" });
  assert.equal(sensorsLine(state).level, "ready");
  state.applyLive({ type: "session", session: { ...session, id: "t" } });
  assert.equal(state.calibration, null, "another session is not calibrated by the last one");
  assert.equal(state.sessionToMark, null, "its sensors have not come yet");
});

test("streams of another collector are known as such, and a played one by its sensors", () => {
  const state = streaming({ on: false, sensors: [] });
  assert.ok(state.fromElsewhere && !state.played);
  state.streams = [stream("pelvis", { sensor: "simulated pelvis" })];
  assert.ok(state.played);
  assert.equal(state.sessionToMark, null, "a mark needs both streams");
  state.applyLive({ type: "session", session: { ...session, ended_at: "2026-01-01T00:00:00Z" } });
  assert.ok(!state.fromElsewhere);
});

test("losses count by their share of what was sent between two reports", () => {
  const before = stream("pelvis", { lost: 10, last_seen_s: 10 });
  assert.ok(losesSamples(before, stream("pelvis", { lost: 30, last_seen_s: 11 })));
  assert.ok(!losesSamples(before, stream("pelvis", { lost: 11, last_seen_s: 11 })));
  assert.ok(!losesSamples(undefined, before), "a first report tells no loss of now");
});

test("bars jump for the sensor that moves", () => {
  assert.equal(barShare(null), 0);
  assert.equal(barShare(9000), 1);
  assert.ok(barShare(30) > 0.2, "a gentle shake shows");
  assert.equal(movingSegment({ pelvis_dps: 200, upper_back_dps: 5 }), "pelvis");
  assert.equal(movingSegment({ pelvis_dps: 3, upper_back_dps: 200 }), "upper_back");
  assert.equal(movingSegment({ pelvis_dps: 200, upper_back_dps: 180 }), null);
  assert.equal(movingSegment({ pelvis_dps: 4, upper_back_dps: null }), null, "rest is no movement");
});

test("a step counts three to get ready and then its seconds, and can be cancelled", async () => {
  mock.timers.enable({ apis: ["setTimeout"] });
  const seen = [];
  const step = new GuidedStep({ onCount: ({ phase, left }) => seen.push(`${phase} ${left}`) });
  const whole = step.run(2);
  for (let second = 0; second < 4; second += 1) mock.timers.tick(1000);
  assert.ok(step.running, "the last second has not passed");
  mock.timers.tick(1000);
  assert.equal(await whole, true);
  assert.deepEqual(seen, ["ready 3", "ready 2", "ready 1", "doing 2", "doing 1"]);
  const broken = step.run(5);
  step.cancel();
  assert.equal(await broken, false);
  mock.timers.tick(9000);
  assert.equal(seen.length, 6, "nothing counts on after a cancel");
  mock.timers.reset();
});

test("verdicts are plain: good, or repeat and why", () => {
  assert.equal(calibrationVerdict({ calibrated: true, text: "Calibrated: both." }).head, "Good");
  const refused = calibrationVerdict({ calibrated: false, text: "The pelvis sensor saw a bow of 5 degrees." });
  assert.deepEqual([refused.head, refused.good], ["Repeat", false]);
  const crooked = calibrationVerdict({ calibrated: true, text: "The bow was crooked." });
  assert.deepEqual([crooked.good, crooked.text], [false, "The bow was crooked."]);
  const sync = syncVerdict({ good: true, text: "In step.", offset_ms: 0.42, u_ms: 0.2 });
  assert.equal(sync.text, "In step. Offset 0.4\u00a0ms \u00b1\u00a00.4\u00a0ms.");
});
