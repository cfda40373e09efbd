import assert from "node:assert/strict";
import { test } from "node:test";
import { cautionSentences, changeRows } from "../../../web/js/models/change-rows.js";
import { ColumnDictionary } from "../../../web/js/models/column-dictionary.js";
import { earlierSessions } from "../../../web/js/models/earlier-sessions.js";
import { intervalPlaces } from "../../../web/js/models/interval-bar.js";
import { readingOf } from "../../../web/js/models/reading.js";
import { RANGE_NUMBERS } from "../../../web/js/models/range-numbers.js";
import { SessionSwings } from "../../../web/js/models/session-swings.js";
import { driftSentences, leftOutSentences, summaryRows } from "../../../web/js/models/summary-rows.js";
import { eventsOf } from "../../../web/js/models/swing-events.js";
import { isDwell, kindText, swingNumberText } from "../../../web/js/models/swing-number.js";
import { bareUncertaintyText, uncertaintyText } from "../../../web/js/models/uncertainty.js";

const LEAD = { name: "transition_lead_ms", unit: "ms", label: "Transition lead", decimals: 0 };
const TURN = { name: "pelvis_turn_top_deg", unit: "\u00b0", label: "Pelvis turn at top", decimals: 1 };
const IMPACT = { name: "impact_s", unit: "s", label: "Impact", decimals: 3, estimate: true };
const TEMPO = { name: "tempo", unit: "", label: "Tempo", decimals: 1, estimate: true };
const POWER = { name: "pelvis_peak_power_w", unit: "W", label: "Power", decimals: 0, estimate: true };
const dictionary = new ColumnDictionary([LEAD, TURN, IMPACT, TEMPO, POWER]);
const dwelling = {
  id: "s-1", session_id: "s", number: 1, usable: true, flags: [{ code: "dwell", text: "It dwells." }],
  metrics: { transition_lead_ms: 38.2, pelvis_turn_top_deg: -50, impact_method: "estimate" },
  uncertainty: { transition_lead_ms: 9, pelvis_reversal_s: 0.009, top_s: 0.001, pelvis_turn_top_deg: 0.6 },
  events: { upper_back_reversal_s: 10, pelvis_reversal_s: 9.96, impact_s: 10.3 },
};

test("an uncertainty is shown expanded by two and never as nothing", () => {
  assert.equal(uncertaintyText(0.61, TURN), "\u00b1\u00a01.2\u00b0");
  assert.equal(uncertaintyText(0.2, LEAD), "\u00b1\u00a01\u00a0ms", "one step of the last place at least");
  assert.equal(bareUncertaintyText(0.61, TURN), "\u00b1\u00a01.2");
  for (const none of [undefined, null, Number.NaN]) assert.equal(uncertaintyText(none, TURN), "");
});

test("a dwell stands in place of a reversal or lead that is not sharp", () => {
  assert.ok(isDwell(dwelling, "transition_lead_ms") && isDwell(dwelling, "pelvis_reversal_s"));
  assert.ok(!isDwell(dwelling, "top_s"), "the other segment's reversal is sharp");
  assert.ok(!isDwell(dwelling, "pelvis_turn_top_deg"));
  assert.ok(!isDwell({ ...dwelling, flags: [] }, "transition_lead_ms"));
  assert.equal(swingNumberText(dwelling, LEAD), "dwell");
  assert.equal(swingNumberText(dwelling, TURN), "\u221250.0\u00b0");
  assert.deepEqual(eventsOf(dwelling).map((event) => event.label),
    ["pelvis starts down (dwell)", "top", "impact (estimate)"]);
});

test("on Range a dwell says about what it is, with its uncertainty", () => {
  const number = RANGE_NUMBERS.find(({ column }) => column === LEAD.name);
  const reading = readingOf(number, new SessionSwings([dwelling]), dictionary);
  assert.deepEqual([reading.number, reading.unit, reading.uncertainty], ["dwell", "", ""]);
  assert.equal(reading.sign, "not sharp: about 38\u00a0ms \u00b1\u00a018\u00a0ms");
});

test("an impact that was seen is no estimate, nor what hangs on it; power always is", () => {
  const struck = { metrics: { impact_method: "strike" } };
  assert.equal(kindText(IMPACT, struck), "seen as a strike");
  assert.equal(kindText(TEMPO, struck), "");
  assert.equal(kindText(POWER, struck), "estimate");
  assert.equal(kindText(TEMPO, dwelling), "estimate");
  assert.equal(kindText(TEMPO, null), "estimate");
  assert.equal(kindText(TURN, dwelling), "");
});

const drift = (verdict, sentence = "Transition lead: drifts down by about 9 ms.") => ({ verdict, sentence });
const metric = (of, more = {}) => ({
  column: LEAD.name, mean: 38.4, mean_u: 1.4, sd: 5.6, mdc95_swing: 15.5, dwelling: 0, drift: drift(of), ...more,
});

test("a session in sum gives mean, spread and what can be told apart", () => {
  const [row] = summaryRows({ metrics: [metric("not shown")] }, dictionary);
  assert.deepEqual([row.mean, row.uncertainty, row.sd, row.apart], ["38", "\u00b1\u00a03", "6", "16"]);
  const [bare] = summaryRows({ metrics: [metric("not shown", { sd: null, mean_u: null })] }, dictionary);
  assert.deepEqual([bare.uncertainty, bare.sd], ["", "\u2013"]);
});

test("drifts are said one by one, none is said once", () => {
  const said = (...verdicts) => driftSentences({ metrics: verdicts.map((verdict) => metric(verdict)) });
  assert.deepEqual(said("not shown", "not shown"), ["No drift from first swing to last shown in these numbers."]);
  assert.equal(said("drift", "not shown").length, 2);
  assert.equal(said("drift", "drift").length, 2);
  const few = metric("x", { drift: drift("too few swings", "Transition lead: too few swings to see a drift.") });
  assert.deepEqual(driftSentences({ metrics: [few, few] }), ["Too few swings to see a drift."]);
});

test("what is left out is named with its reason, and dwelling swings are counted", () => {
  const [out, dwell] = leftOutSentences({
    swings: 12, left_out: [{ number: 4, reasons: ["Samples were lost."] }],
    metrics: [metric("not shown", { dwelling: 2 })],
  });
  assert.equal(out, "Left out 1 of 12: swing 4 (Samples were lost.)");
  assert.match(dwell, /^In 2\u00a0swings/);
  assert.deepEqual(leftOutSentences({ swings: 3, left_out: [], metrics: [] }), []);
});

const compared = (column, verdict, change, more = {}) => ({
  column, verdict, change, low: change - 5, high: change + 5, detectable: 5, cautions: [],
  before: { n: 12, mean: 20 }, after: { n: 4, mean: 20 + change }, ...more,
});
const rowsOf = (...metrics) => changeRows({ metrics }, dictionary);

test("a change is said with its range and in golf words", () => {
  const [lead, turn] = rowsOf(compared(LEAD.name, "changed", 12), compared(TURN.name, "changed", -8));
  assert.deepEqual([lead.change, lead.range], ["+12\u00a0ms", "+7 to +17"]);
  assert.equal(lead.reason, "pelvis starts down earlier");
  assert.equal(turn.reason, "hips turn back further", "a turn away from the target is negative");
  assert.ok(lead.interval.changed);
});

test("what is not shown says what could be, and too few swings says how many there are", () => {
  const [small, overlap, few, none] = rowsOf(
    compared(TURN.name, "not shown", 1), compared(TURN.name, "not shown", 6),
    compared(LEAD.name, "too few swings", 9),
    compared(LEAD.name, "too few swings", null, { low: null, high: null }));
  assert.equal(small.reason, "less than 5.0\u00b0 cannot be told from none");
  assert.equal(overlap.reason, "the swings of both overlap too much");
  assert.equal(few.reason, "12 before and 4 after have a number");
  assert.deepEqual([none.change, none.range, none.interval], ["\u2013", "", null]);
});

test("each caution is said once, with the numbers it is about", () => {
  const day = { code: "day", text: "holds for these swings" };
  const strays = { code: "strays", text: "some swings stray far" };
  const sentences = cautionSentences({
    cautions: [{ code: "not_calibrated", text: "the sensors were not calibrated" }],
    metrics: [compared(LEAD.name, "changed", 9, { cautions: [day] }),
      compared(TURN.name, "changed", 9, { cautions: [day, strays] })],
  }, dictionary);
  assert.deepEqual(sentences, ["The sensors were not calibrated.", "Holds for these swings.",
    "Pelvis turn at top: some swings stray far."]);
});

test("no change stands in the middle of the bar, the range to scale on either side", () => {
  const { zero, low, change, high } = intervalPlaces({ change: 2, low: -4, high: 8 }, 200);
  assert.equal(zero, 100);
  assert.ok(high < 200 && low > 0);
  assert.ok(Math.abs((high - zero) / (zero - low) - 2) < 1e-9);
  assert.ok(Math.abs(change - (low + high) / 2) < 1e-9);
  assert.deepEqual(intervalPlaces({ change: 0, low: 0, high: 0 }, 200).change, 100);
});

test("only earlier sessions of the same golfer with swings can be compared with", () => {
  const one = (id, golfer_id, day, swing_count = 5) =>
    ({ id, golfer_id, swing_count, started_at: `2026-05-${day}T09:00:00Z` });
  const now = one("now", "g", 20);
  const known = [one("later", "g", 25), now, one("early", "g", 10), one("other", "h", 10), one("empty", "g", 11, 0)];
  assert.deepEqual(earlierSessions(now, known).map(({ id }) => id), ["early"]);
  assert.deepEqual(earlierSessions({ ...now, golfer_id: null }, [one("x", null, 1)]), []);
});
