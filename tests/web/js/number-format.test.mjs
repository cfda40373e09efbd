import assert from "node:assert/strict";
import { test } from "node:test";
import {
  formatNumber, formatSigned, formatWithUnit, unitWords, widthInDigits,
} from "../../../web/js/models/number-format.js";

test("a negative number has a true minus, and none where it rounds to zero", () => {
  assert.equal(formatNumber(-12.34, 1), "\u221212.3");
  assert.equal(formatNumber(-0.04, 1), "0.0");
});

test("a number is written with the decimals of its column", () => {
  assert.equal(formatNumber(447.51, 0), "448");
  assert.equal(formatNumber(1.5, 2), "1.50");
});

test("what is missing is a dash and never a zero", () => {
  for (const missing of [null, undefined, Number.NaN, Number.POSITIVE_INFINITY]) {
    assert.equal(formatNumber(missing, 1), "\u2013");
    assert.equal(formatWithUnit(missing, { unit: "ms", decimals: 0 }), "\u2013");
  }
});

test("a change carries its sign, and zero carries none", () => {
  assert.equal(formatSigned(3.21, 1), "+3.2");
  assert.equal(formatSigned(-3.21, 1), "\u22123.2");
  assert.equal(formatSigned(0.01, 1), "0.0");
});

test("degrees stand at the number, other units behind a space that does not break", () => {
  assert.equal(formatWithUnit(44.31, { unit: "\u00b0", decimals: 1 }), "44.3\u00b0");
  assert.equal(formatWithUnit(447.6, { unit: "\u00b0/s", decimals: 0 }), "448\u00b0/s");
  assert.equal(formatWithUnit(38.2, { unit: "ms", decimals: 0 }), "38\u00a0ms");
  assert.equal(formatWithUnit(1.48, { unit: "", decimals: 2 }), "1.48");
});

test("words of the analysis pass as they are", () => {
  assert.equal(formatWithUnit("pelvis", { unit: "", decimals: 0 }), "pelvis");
});

test("a screen reader gets units in words", () => {
  assert.equal(unitWords("\u00b0/s\u00b2"), "degrees per second squared");
  assert.equal(unitWords("furlong"), "furlong");
});

test("points and signs count as narrow when a number is fitted", () => {
  assert.equal(widthInDigits("447"), 3);
  assert.ok(widthInDigits("\u221212.3") < 5);
});
