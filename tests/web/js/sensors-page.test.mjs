import assert from "node:assert/strict";
import { test } from "node:test";
import { LossWatch, losesSamples } from "../../../web/js/models/loss-watch.js";
import { barShare, movingSegment, MovingWords } from "../../../web/js/models/motion-bar.js";
import { clockText, factTexts, phaseText } from "../../../web/js/models/sensor-facts.js";
import { cardRows, newsLines, traceWaits } from "../../../web/js/models/sensor-rows.js";
import { sensorsLine, sentence } from "../../../web/js/models/sensors-line.js";
import { SensorsState } from "../../../web/js/models/sensors-state.js";
import { signalStrength } from "../../../web/js/models/signal-strength.js";
import { syncAdvice } from "../../../web/js/models/sync-advice.js";

const radio = { enabled: true, scanning: false, streaming: false, session_id: null, obstacle: null };
const sensor = (segment, more = {}) => ({ address: segment, name: "S", segment, phase: "streaming", ...more });
const stream = (segment, more = {}) => ({
  stream_id: segment, segment, sensor: "S", state: "streaming", rate_hz: 200, lost: 0, last_seen_s: 10, clock_u_ms: 0.6, ...more,
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
  assert.equal(clockText(0.6), "Timing good, \u00b1\u00a01.2\u00a0ms");
  assert.equal(clockText(5), "Timing fair, \u00b1\u00a010\u00a0ms");
  assert.match(clockText(8), /^Timing not settled yet, \u00b1\u00a016\u00a0ms$/);
  assert.equal(clockText(0.001), "Timing good, \u00b1\u00a00.1\u00a0ms");
  assert.equal(clockText(null), "Timing not known yet");
});

test("facts that are not known are said to be so", () => {
  const texts = factTexts({ rate_hz: null, lost: 0, battery_percent: null, clock_u_ms: null });
  assert.deepEqual(texts, ["Rate not known yet", "No samples lost", "Battery not known", "Timing not known yet"]);
  assert.equal(factTexts({ rate_hz: 199.6, lost: 1, battery_percent: 12 })[2], "Battery 12\u00a0%, low: charge it");
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
  assert.deepEqual(sensorsLine(state), { level: "loud", text: "Bluetooth is off: switch it on." });
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
  state.streams = [stream("pelvis", { clock_u_ms: 9 }), stream("upper_back")];
  assert.match(sensorsLine(state).text, /timing still settles/);
  state.applyLive({ type: "status", streams: state.streams, late: "Swings show 12 s late." });
  assert.deepEqual(sensorsLine(state), { level: "warn", text: "Swings show 12 s late." });
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

test("what the service says of an obstacle stands as a sentence", () => {
  const text = "the pelvis sensor (S) is out of reach: bring it back";
  const state = streaming({ sensors: [sensor("pelvis", { phase: "lost", text }), sensor("upper_back")] });
  assert.equal(sensorsLine(state).text, "The pelvis sensor (S) is out of reach: bring it back.");
});

test("losses stay said for some seconds of the stream, so that they can be read", () => {
  const watch = new LossWatch();
  const at = (seconds, lost) => watch.update([stream("pelvis", { last_seen_s: seconds, lost }), stream("upper_back")]);
  assert.deepEqual(at(10, 0), []);
  assert.deepEqual(at(11, 40), ["pelvis"]);
  assert.deepEqual(at(14, 40), ["pelvis"]);
  assert.deepEqual(at(17, 40), []);
});

test("a moved sensor is named by its place, for some seconds", () => {
  const words = new MovingWords();
  assert.match(words.now, /^Which is which\?/);
  assert.match(words.after("upper_back"), /sensor of the upper back\.$/);
  for (let report = 0; report < 29; report += 1) words.after(null);
  assert.ok(words.tells);
  words.after(null);
  assert.ok(!words.tells);
});

test("cards stand pelvis first while streaming, and take what their stream lacks", () => {
  const state = streaming({ sensors: [sensor("upper_back"), sensor("pelvis", { phase: "connecting" })] });
  state.streams = [stream("pelvis", { state: "lost" }), stream("upper_back", { state: "slow" })];
  assert.deepEqual(cardRows(state).map(({ sensor: { segment, phase } }) => [segment, phase]),
    [["pelvis", "lost"], ["upper_back", "slow"]]);
});

test("a trace that stands still says which sensor it waits for", () => {
  const state = streaming({ sensors: [sensor("pelvis", { phase: "silent" }), sensor("upper_back")] });
  const [pelvis, upperBack] = cardRows(state).map((row) => row.sensor);
  assert.equal(traceWaits(upperBack, state), "Waits for the pelvis sensor");
  assert.equal(traceWaits(pelvis, state), "", "its own card says that it is silent");
  const elsewhere = streaming({ on: false, sensors: [] });
  elsewhere.streams = [stream("pelvis"), stream("upper_back", { state: "silent" })];
  assert.equal(traceWaits(cardRows(elsewhere)[0].sensor, elsewhere), "Waits for the upper back sensor");
});

test("a sensor that is only remembered is not called found", () => {
  assert.equal(phaseText("seen", -60), "Found");
  assert.equal(phaseText("seen", null), "Remembered");
});

test("a slow sensor keeps no trace waiting, and a command of the service stands in quotes", () => {
  const state = streaming();
  state.sensors = [];
  state.radio = { streaming: false };
  state.streams = [stream("pelvis"), stream("upper_back", { state: "slow" })];
  assert.equal(traceWaits({ segment: "pelvis", phase: "streaming" }, state), "");
  state.streams = [stream("pelvis"), stream("upper_back", { state: "silent" })];
  assert.equal(traceWaits({ segment: "pelvis", phase: "streaming" }, state), "Waits for the upper back sensor");
  assert.equal(sentence("start it with `torsolog serve`"), "Start it with \u201ctorsolog serve\u201d.");
});

test("news stand newest first, as sentences", () => {
  const news = [{ at: "2026-01-01T10:00:00", text: "the pelvis sensor is back" }, { at: "2026-01-01T10:00:05", text: "Gone." }];
  assert.deepEqual(newsLines(news), ["10:00:05 Gone.", "10:00:00 The pelvis sensor is back."]);
  assert.deepEqual(newsLines(undefined), []);
});

test("the service says how many repeats count together, and a swing begins them anew", () => {
  const state = streaming();
  const good = { type: "calibration", calibrated: true, text: "Calibrated.", repeats: 2 };
  state.applyLive(good);
  state.applyLive({ type: "swing", swing: { window: { start_s: 5 } } });
  assert.equal(state.repeats, 2, "a swing before it was found anew");
  state.applyLive({ type: "swing", swing: { window: { start_s: 20 } } });
  assert.equal(state.repeats, 0, "a swing came after it");
  state.applyLive({ ...good, repeats: 1 });
  assert.equal(state.repeats, 1);
  state.applyLive({ type: "calibration", calibrated: false, text: "Repeat." });
  assert.equal(state.repeats, 1, "one that could not be read changes nothing");
});

test("repeats are counted, or taken as the service counts them, and begin anew with a session", () => {
  const state = streaming();
  const good = { type: "calibration", calibrated: true, text: "Calibrated." };
  state.applyLive(good);
  state.applyLive({ type: "calibration", calibrated: false, text: "No bow." });
  assert.deepEqual([state.repeats, state.calibration], [1, good], "one that failed changes nothing");
  state.applyLive({ ...good, repeats: 3 });
  assert.equal(state.repeats, 3);
  state.applyLive({ type: "session", session: { ...session, id: "t" } });
  assert.equal(state.repeats, 0);
  state.applyLive({ type: "session", session: { ...session, id: "u", calibrated: true } });
  assert.equal(state.repeats, 1, "calibrated before the page was opened");
});

test("a twist is advised once both clocks have settled, and while the two are not known well", () => {
  const advice = (...standardMs) => {
    const state = streaming();
    const streams = ["pelvis", "upper_back"].map((segment, n) => stream(segment, { clock_u_ms: standardMs[n] }));
    state.applyLive({ type: "hello", session, swings: [], streams });
    return syncAdvice(state);
  };
  assert.match(advice(0.3, 8), /still settles/);
  assert.equal(
    advice(1.2, 0.9),
    "Between the two, timing is known to \u00b1\u00a03.0\u00a0ms: a twist now makes it better.",
  );
  assert.match(advice(0.3, 0.4), /\u00b1\u00a01\.0\u00a0ms: good\. Twist again when/);
  assert.equal(advice(0.3, null), null);
});
