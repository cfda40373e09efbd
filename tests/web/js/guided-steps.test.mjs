import assert from "node:assert/strict";
import { mock, test } from "node:test";
import { repeatLabel, repeatsText } from "../../../web/js/models/calibration-repeats.js";
import { GuidedStep } from "../../../web/js/models/guided-step.js";
import { faces, scaleVerdict } from "../../../web/js/models/scale-turns.js";
import { calibrationVerdict, syncVerdict } from "../../../web/js/models/verdict.js";

const PARTS = [["ready", 3], ["stand", 2], ["bow", 1]];

function pass(seconds) {
  for (let second = 0; second < seconds; second += 1) mock.timers.tick(1000);
}

test("parts are counted down one after the other, each a second a number", async () => {
  mock.timers.enable({ apis: ["setTimeout"] });
  const seen = [];
  const step = new GuidedStep({
    onCount: ({ phase, left }) => seen.push(`${phase} ${left}`),
    onPart: (phase) => seen.push(`${phase} over`),
  });
  const whole = step.run(PARTS);
  pass(5);
  assert.ok(step.running, "the last second has not passed");
  pass(1);
  assert.equal(await whole, true);
  assert.deepEqual(seen, [
    "ready 3", "ready 2", "ready 1", "ready over", "stand 2", "stand 1", "stand over", "bow 1", "bow over",
  ]);
  mock.timers.reset();
});

test("a cancel ends the count, also one made as a part ends", async () => {
  mock.timers.enable({ apis: ["setTimeout"] });
  const seen = [];
  const step = new GuidedStep({
    onCount: ({ phase }) => seen.push(phase),
    onPart: (phase) => phase === "stand" && step.cancel(),
  });
  const first = step.run(PARTS);
  step.cancel();
  assert.equal(await first, false);
  const second = step.run(PARTS);
  pass(9);
  assert.equal(await second, false);
  assert.ok(!seen.includes("bow"));
  mock.timers.reset();
});

test("repeats are encouraged up to three, and what they bring is said", () => {
  assert.equal(repeatsText(1), "1 of 3: good already. Two more make the angles surer.");
  assert.match(repeatsText(2), /^2 of 3: one more/);
  assert.match(repeatsText(3), /^3 of 3: as sure as it gets/);
  assert.match(repeatsText(4), /^3 of 3/);
  assert.deepEqual([0, 1, 3].map(repeatLabel),
    ["Stand and bow", "Stand and bow, 2 of 3", "Stand and bow again"]);
});

test("verdicts are plain: good, or repeat and why", () => {
  assert.equal(calibrationVerdict({ calibrated: true, text: "Calibrated: both." }).head, "Good");
  const refused = calibrationVerdict({ calibrated: false, text: "The pelvis sensor saw a bow of 5 degrees." });
  assert.deepEqual([refused.head, refused.good], ["Repeat", false]);
  const crooked = calibrationVerdict({ calibrated: true, text: "The bow was crooked." });
  assert.deepEqual([crooked.good, crooked.text], [false, "The bow was crooked."]);
});

test("a sync check that is good says by how much the clocks were apart", () => {
  const found = { good: true, text: "In step.", offset_ms: 0.42, u_ms: 0.2, applied: true };
  assert.equal(syncVerdict(found).text, "In step. They were apart by 0.4\u00a0ms \u00b1\u00a00.4\u00a0ms.");
  const loose = syncVerdict({ good: false, text: "Press them together.", offset_ms: 80, u_ms: 9, applied: false });
  assert.deepEqual(loose, { good: false, head: "Repeat", text: "Press them together." });
});

test("the scale check shows which axes are done, and in the end by how much it puts right", () => {
  assert.deepEqual(faces(undefined).map(({ done }) => done), [false, false, false]);
  assert.deepEqual(faces({ sets: ["z", "x"] }).map(({ text }) => text),
    ["x: done", "y: to do", "z: done"]);
  assert.deepEqual(faces({ sets: [], done: true }).map(({ done }) => done), [true, true, true]);
  const half = scaleVerdict({ sets: ["z"], done: false, text: "Two faces are left.", factors: null, u: null });
  assert.deepEqual([half.good, half.head], [null, "Face 1 of 3 done"]);
  const whole = scaleVerdict({
    sets: ["x", "y", "z"], done: true, text: "Done.", factors: [1.0124, 0.9979, 1], u: [0.0005, 0.0006, 0.0005],
  });
  assert.equal(whole.text, "Done. Corrections: x +1.24\u00a0% \u00b1\u00a00.10\u00a0%, " +
    "y \u22120.21\u00a0% \u00b1\u00a00.12\u00a0%, z +0.00\u00a0% \u00b1\u00a00.10\u00a0%.");
});
