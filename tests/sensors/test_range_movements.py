"""What goes on between swings looks like it, and none of it is a swing."""

import numpy as np
import pytest

from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.motion_truth import segment_curves
from sensors.practice_plan import BETWEEN_SWINGS, SWINGS, Activity, PracticePlan
from sensors.wire import SEGMENTS


@pytest.fixture(scope="module")
def extremes():
    """Of every stretch of a long session: fastest turn and deepest tilt of both segments."""
    session = SimulatedRangeSession(PracticePlan(swings=40), seed=12, golfer=LONG_TURN_GOLFER)
    found: dict[Activity, list[dict[str, float]]] = {}
    for stretch in session.stretches():
        time_s = np.arange(stretch.span.start_s, stretch.span.end_s, 0.005)
        numbers = {"duration_s": stretch.span.end_s - stretch.span.start_s}
        for segment in SEGMENTS:
            curves = segment_curves(stretch.motion, segment, time_s)
            numbers[f"{segment}_dps"] = float(np.degrees(np.abs(curves.velocity).max()))
            numbers[f"{segment}_tilt"] = float(np.degrees(curves.tilt.max()))
            numbers[f"{segment}_range"] = float(np.degrees(np.ptp(curves.turn)))
        found.setdefault(stretch.span.activity, []).append(numbers)
    return found


def most(extremes, activity, name):
    return max(numbers[name] for numbers in extremes[activity])


def test_a_long_session_holds_every_activity(extremes):
    assert set(extremes) == set(Activity)
    assert sum(len(extremes[activity]) for activity in SWINGS) == 40


def test_only_swings_are_as_fast_as_swings(extremes):
    slowest = min(one["upper_back_dps"] for activity in SWINGS for one in extremes[activity])
    assert slowest > 500.0
    for activity in set(Activity) - SWINGS:
        assert most(extremes, activity, "upper_back_dps") < 0.6 * slowest, activity


@pytest.mark.parametrize(
    ("activity", "name", "least", "limit"),
    [
        (Activity.WAIT, "upper_back_dps", 0.1, 15.0),
        (Activity.WAGGLE, "upper_back_range", 1.0, 20.0),
        (Activity.PUTT, "upper_back_dps", 10.0, 90.0),
        (Activity.TEE_UP, "upper_back_tilt", 70.0, 110.0),
        (Activity.BOW, "pelvis_tilt", 35.0, 60.0),
        (Activity.LOOK, "upper_back_range", 10.0, 40.0),
        (Activity.TALK, "pelvis_range", 20.0, 200.0),
        (Activity.WALK, "pelvis_range", 60.0, 200.0),
        (Activity.REHEARSE, "upper_back_dps", 100.0, 260.0),
    ],
)
def test_each_activity_keeps_within_its_nature(extremes, activity, name, least, limit):
    assert least < most(extremes, activity, name) < limit


def test_a_second_swing_follows_soon(extremes):
    assert max(one["duration_s"] for one in extremes[Activity.SECOND_SWING]) < 9.0


def test_a_plan_that_is_not_busy_holds_swings_alone():
    session = SimulatedRangeSession(PracticePlan(swings=5, busy=0.0, calibration=None), seed=1)
    assert [span.activity for span in session.spans] == [Activity.SWING] * 5 + [Activity.WAIT]


def test_activities_come_about_as_often_as_their_chance():
    plan = PracticePlan(swings=2000)
    drawn = list(plan.activities(np.random.default_rng(3)))
    firsts = drawn.count(Activity.SWING)
    for activity, chance in BETWEEN_SWINGS:
        assert drawn.count(activity) / firsts == pytest.approx(chance, abs=0.05)
    assert drawn.count(Activity.SECOND_SWING) / 2000 == pytest.approx(0.1, abs=0.03)
