// The signs are those of the project's conventions: a turn is positive toward the target. That a
// right-hander's target lies to the left of one who faces the ball is common practice, no source.
import assert from "node:assert/strict";
import { test } from "node:test";
import {
  bodyLine, pageAngle, separationArc, turnText,
} from "../../../web/js/models/overhead-geometry.js";

const near = (a, b) => assert.ok(Math.abs(a - b) < 1e-9, `${a} is not ${b}`);

test("at address the lead end points to the target and the front up the page", () => {
  const right = bodyLine(0, "right", 100, 30);
  near(right.lead.x, -100);
  near(right.trail.x, 100);
  near(right.front.y, -30);
  near(bodyLine(0, "left", 100, 30).lead.x, 100);
});

test("a right-hander who turns away brings the lead shoulder toward the ball", () => {
  const { lead, trail, front } = bodyLine(-90, "right", 100, 30);
  near(lead.y, -100);
  near(trail.y, 100);
  near(front.x, 30); // the chest looks away from the target
});

test("a left-hander who turns away mirrors the right-hander", () => {
  for (const turn of [-95, -40, 0, 25, 80]) {
    const right = bodyLine(turn, "right", 100, 30);
    const left = bodyLine(turn, "left", 100, 30);
    for (const point of ["lead", "trail", "front"]) {
      near(left[point].x, -right[point].x);
      near(left[point].y, right[point].y);
    }
  }
});

test("a turn toward the target is counter-clockwise from above for a right-hander", () => {
  assert.equal(pageAngle(30, "right"), -30);
  assert.equal(pageAngle(30, "left"), 30);
});

test("the separation arc runs between the two lead ends, the short way", () => {
  const arc = separationArc(-45, -90, "right", 50).match(/-?[\d.]+/g).map(Number);
  const [fromX, fromY, , , , large, clockwise, toX, toY] = arc;
  near(fromX, Number((-50 * Math.SQRT1_2).toFixed(2)));
  near(fromY, Number((-50 * Math.SQRT1_2).toFixed(2)));
  near(toX, 0);
  near(toY, -50);
  assert.deepEqual([large, clockwise], [0, 1]);
});

test("a turn is said in golf words", () => {
  assert.equal(turnText(-44.6), "45\u00b0 away from the target");
  assert.equal(turnText(12), "12\u00b0 toward the target");
  assert.equal(turnText(0.2), "square to address");
});
