"""The parametric swing does what its parameters say."""

import numpy as np
import pytest

from sensors.motion_truth import segment_curves, swing_truth
from sensors.movement_score import UPRIGHT, MovementScore
from sensors.swing_shape import (
    DWELLING_AT_TOP,
    LONG_TURN_LATE_TRANSITION,
    SHORT_TURN_EARLY_TRANSITION,
    SwingSpread,
    write_swing,
)
from sensors.wire import SEGMENTS

PRESETS = {
    "long": LONG_TURN_LATE_TRANSITION,
    "short": SHORT_TURN_EARLY_TRANSITION,
    "dwelling": DWELLING_AT_TOP,
}
SHAPES = pytest.mark.parametrize("shape", PRESETS.values(), ids=PRESETS.keys())


def swung(shape, *, mirrored=False):
    """Motion and truth of one swing after a second of rest."""
    score = MovementScore(0.0, UPRIGHT | shape.address())
    score.hold(1.0)
    impact_s = write_swing(score, shape)
    motion = score.motion(mirrored=mirrored)
    return motion, swing_truth(motion, 1, 1.0, motion.end_s, impact_s)


def test_the_two_presets_make_the_same_peak_speed_differently():
    late, early = (swung(PRESETS[name])[1].metrics for name in ("long", "short"))
    assert late["upper_back_peak_dps"] == pytest.approx(early["upper_back_peak_dps"], rel=0.01)
    assert late["upper_back_turn_top_deg"] < early["upper_back_turn_top_deg"] - 15.0
    assert late["runway_deg"] > early["runway_deg"] + 15.0
    assert late["mean_rate_dps2"] < early["mean_rate_dps2"] - 300.0
    assert late["transition_lead_ms"] < early["transition_lead_ms"] - 20.0


@SHAPES
def test_the_lead_is_as_set(shape):
    _, truth = swung(shape)
    assert truth.metrics["transition_lead_ms"] == pytest.approx(1e3 * shape.lead_s, abs=1.5)


@SHAPES
@pytest.mark.parametrize("segment", SEGMENTS)
def test_turn_and_peak_speed_are_as_set(shape, segment):
    _, truth = swung(shape)
    set_to = shape.turn(segment)
    assert truth.metrics[f"{segment}_peak_dps"] == pytest.approx(set_to.peak_dps, rel=0.02)
    # Seen from above the turn of a leaning segment differs somewhat from that about its own axis;
    # the runway is about its own axis, from top to peak, leaning meanwhile by some degrees.
    assert truth.metrics[f"{segment}_turn_top_deg"] == pytest.approx(-set_to.back_deg, abs=8.0)
    assert truth.metrics[f"{segment}_runway_deg"] == pytest.approx(set_to.runway_deg, abs=4.0)


@SHAPES
@pytest.mark.parametrize("segment", SEGMENTS)
def test_speed_rises_without_a_second_peak_from_reversal_to_peak(shape, segment):
    motion, truth = swung(shape)
    reversal_s = truth.events[f"{segment}_reversal_s"]
    peak_s = truth.events[f"{segment}_peak_s"]
    time_s = np.linspace(reversal_s, peak_s, 400)
    velocity = segment_curves(motion, segment, time_s).velocity
    assert np.all(np.diff(velocity) > -1e-3)


@SHAPES
@pytest.mark.parametrize("segment", SEGMENTS)
def test_the_backswing_goes_away_without_a_stop(shape, segment):
    motion, truth = swung(shape)
    time_s = np.linspace(
        truth.events["takeaway_s"] + 0.15, truth.events[f"{segment}_reversal_s"] - 0.03, 400
    )
    assert np.all(segment_curves(motion, segment, time_s).velocity < 0.0)


def test_a_half_swing_turns_half_as_far_at_the_given_share_of_speed():
    full, half = PRESETS["short"], PRESETS["short"].scaled(0.5, 0.4)
    (_, one), (_, other) = swung(full), swung(half)
    assert other.metrics["upper_back_peak_dps"] == pytest.approx(
        0.4 * one.metrics["upper_back_peak_dps"], rel=0.02
    )
    assert other.metrics["runway_deg"] == pytest.approx(0.5 * one.metrics["runway_deg"], rel=0.06)


def test_swings_vary_by_the_spread_and_by_nothing_without_one():
    rng = np.random.default_rng(5)
    shape = PRESETS["long"]
    drawn = [SwingSpread().vary(shape, rng) for _ in range(400)]
    speeds = np.array([one.upper_back.peak_dps for one in drawn])
    assert speeds.mean() == pytest.approx(shape.upper_back.peak_dps, rel=0.005)
    assert speeds.std() == pytest.approx(0.015 * shape.upper_back.peak_dps, rel=0.15)
    leads = np.array([one.lead_s for one in drawn])
    assert leads.std() == pytest.approx(0.006, rel=0.15)
    assert SwingSpread(0, 0, 0, 0, 0, 0).vary(shape, rng) == shape
