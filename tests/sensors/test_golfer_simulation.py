"""A simulated range session: the same by seed, made lazily, smooth where activities join."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensors.errors import SimulationError
from sensors.faults import SensorFaults, SoftTissue
from sensors.golfer_simulation import (
    DWELLING_GOLFER,
    LONG_TURN_GOLFER,
    SHORT_TURN_GOLFER,
    SimulatedGolfer,
    SimulatedRangeSession,
)
from sensors.motion_truth import segment_curves
from sensors.practice_plan import SWINGS, Activity, CalibrationPosture, PracticePlan
from sensors.wire import SEGMENTS

NOISY = {
    segment: SensorFaults(gyro_noise=0.01, soft_tissue=SoftTissue(), batch_loss=0.02)
    for segment in SEGMENTS
}


@pytest.fixture(scope="module")
def session():
    return SimulatedRangeSession(PracticePlan(swings=12), NOISY, seed=7, golfer=SHORT_TURN_GOLFER)


def test_the_same_seed_gives_the_same_session_to_the_last_bit(session):
    again = SimulatedRangeSession(session.plan, NOISY, seed=7, golfer=SHORT_TURN_GOLFER)
    for segment in SEGMENTS:
        for one, other in zip(session.sensor(segment), again.sensor(segment), strict=True):
            np.testing.assert_array_equal(one, other)
    assert session.truth == again.truth
    assert session.marks == again.marks


def test_another_seed_gives_another_session(session):
    other = SimulatedRangeSession(session.plan, NOISY, seed=8, golfer=SHORT_TURN_GOLFER)
    assert other.truth[0].metrics != session.truth[0].metrics


def test_faults_do_not_change_the_motion(session):
    ideal = SimulatedRangeSession(session.plan, None, seed=7, golfer=SHORT_TURN_GOLFER)
    assert ideal.truth == session.truth


def test_both_sensors_cover_the_session_without_overlap(session):
    for segment in SEGMENTS:
        samples = session.sensor(segment)
        assert np.all(np.diff(samples.time_s) > 0.0)
        assert np.all(np.diff(samples.number) > 0)
        assert samples.time_s[0] < 0.2
        assert session.spans[-1].end_s - samples.time_s[-1] < 0.2
        lost = 1.0 - len(samples.number) / (samples.number[-1] + 1)
        assert lost == pytest.approx(0.02, abs=0.015)


def test_there_are_as_many_swings_as_planned_each_within_its_activity(session):
    swings = [span for span in session.spans if span.activity in SWINGS]
    assert len(swings) == len(session.truth) == 12
    for number, (span, truth) in enumerate(zip(swings, session.truth, strict=True), start=1):
        assert truth.number == number
        events = truth.events
        order = ["address_s", "takeaway_s", "top_s", "upper_back_peak_s"]
        times = [span.start_s, *(events[name] for name in order), span.end_s]
        assert times == sorted(times)


def test_activities_join_smoothly():
    session = SimulatedRangeSession(PracticePlan(swings=4), seed=3)
    for before, after in itertools.pairwise(session.stretches()):
        assert before.span.end_s == after.span.start_s
        border = np.array([before.span.end_s])
        for segment in SEGMENTS:
            one, other = (part.motion.segment(segment, border) for part in (before, after))
            np.testing.assert_allclose(one.orientation, other.orientation, atol=1e-9)
            np.testing.assert_allclose(one.angular_velocity, 0.0, atol=1e-6)
            np.testing.assert_allclose(other.angular_velocity, 0.0, atol=1e-6)
            np.testing.assert_allclose(one.acceleration, other.acceleration, atol=1e-6)


def test_a_plan_without_end_is_made_as_it_is_taken():
    session = SimulatedRangeSession(PracticePlan(swings=None), seed=1)
    taken = list(itertools.islice(session.stretches(), 30))
    assert taken[-1].span.end_s > 60.0
    finite = SimulatedRangeSession(PracticePlan(swings=2), seed=1)
    for one, other in zip(taken, finite.stretches(), strict=False):
        if other.span.activity is Activity.WAIT and other.span.start_s > 0.0:
            break
        np.testing.assert_array_equal(one.samples["pelvis"].gyro, other.samples["pelvis"].gyro)
    with pytest.raises(SimulationError, match="no end"):
        _ = session.truth


def test_a_left_hander_has_the_same_numbers_as_the_right_handed_mirror_image():
    left = replace(SHORT_TURN_GOLFER, handedness="left")
    right_truth, left_truth = (
        SimulatedRangeSession(PracticePlan(swings=3), seed=4, golfer=golfer).truth
        for golfer in (SHORT_TURN_GOLFER, left)
    )
    for one, other in zip(right_truth, left_truth, strict=True):
        assert other.metrics == pytest.approx(one.metrics, abs=1e-6)


def test_less_effort_is_slower_from_a_little_less_turn():
    full, easy = (
        SimulatedRangeSession(PracticePlan(swings=5), seed=2, golfer=golfer).truth
        for golfer in (LONG_TURN_GOLFER, replace(LONG_TURN_GOLFER, effort=0.8))
    )
    for one, other in zip(full, easy, strict=True):
        ratio = other.metrics["upper_back_peak_dps"] / one.metrics["upper_back_peak_dps"]
        assert ratio == pytest.approx(0.8, abs=0.02)
        assert (
            0.0
            < other.metrics["upper_back_turn_top_deg"] - one.metrics["upper_back_turn_top_deg"]
            == pytest.approx(2.0, abs=1.5)
        )


def test_the_dwelling_golfer_stays_slow_at_the_top_and_the_others_do_not():
    for golfer, least_s, most_s in (
        (DWELLING_GOLFER, 0.06, 0.3),
        (SHORT_TURN_GOLFER, 0.0, 0.02),
    ):
        session = SimulatedRangeSession(PracticePlan(swings=1, busy=0.0), seed=2, golfer=golfer)
        (stretch,) = (one for one in session.stretches() if one.swing is not None)
        top_s = stretch.swing.events["top_s"]
        time_s = top_s + np.arange(-0.2, 0.2, 0.001)
        slow = np.abs(segment_curves(stretch.motion, "upper_back", time_s).velocity) < np.radians(5)
        assert least_s <= slow.sum() * 0.001 <= most_s


def test_in_the_calibration_golfers_stand_and_bow_off_by_what_is_set():
    off = CalibrationPosture((2.0, -1.0), (1.0, 2.5), 4.0)
    session = SimulatedRangeSession(PracticePlan(swings=1, calibration=off), seed=5)
    stretches = {one.span.activity: one for one in itertools.islice(session.stretches(), 3)}
    stand, bow = (mark for one in stretches.values() for mark in one.marks)
    assert (stand.kind, bow.kind) == ("stand", "bow")
    assert stand.end_s - stand.start_s > 3.0
    still_s = np.arange(stand.start_s, stand.end_s, 0.01)
    moving_s = np.arange(bow.start_s, bow.end_s, 0.01)
    for number, segment in enumerate(SEGMENTS):
        standing = stretches[Activity.STAND].motion.segment(segment, still_s)
        assert np.degrees(np.linalg.norm(standing.angular_velocity, axis=1)).max() < 2.0
        long_axis = Rotation.from_quat(standing.orientation, scalar_first=True).apply([0, 1, 0])
        tilt = np.degrees(np.arccos(long_axis[:, 1])).mean()
        assert tilt == pytest.approx(
            np.hypot(off.stand_tilt_deg[number], off.stand_bend_deg[number]), abs=0.2
        )
        bowing = stretches[Activity.BOW].motion.segment(segment, moving_s).angular_velocity
        fast = bowing[np.linalg.norm(bowing, axis=1) > np.radians(20.0)]
        axis = np.linalg.svd(fast, full_matrices=False)[2][0]
        axis = axis * np.sign(axis[2])
        assert np.degrees(np.arctan2(axis[0], axis[2])) == pytest.approx(4.0, abs=0.6)


def test_a_restless_stand_and_a_shallow_bow_are_as_poor_as_set():
    poor = CalibrationPosture(restless_deg=4.0, bow_depth=0.3)
    session = SimulatedRangeSession(PracticePlan(swings=1, calibration=poor), seed=5)
    for stretch in itertools.islice(session.stretches(), 3):
        for mark in stretch.marks:
            time_s = np.arange(mark.start_s, mark.end_s, 0.01)
            curves = segment_curves(stretch.motion, "upper_back", time_s)
            if mark.kind == "stand":
                assert np.degrees(curves.speed.max()) > 8.0
            else:
                assert 15.0 < np.degrees(np.ptp(curves.tilt)) < 25.0


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: SimulatedGolfer(effort=2.0), "effort: expected 0.5 to 1.2, received 2.0"),
        (lambda: SimulatedGolfer(height_m=178.0), "height_m: expected 1.0 to 2.5"),
        (lambda: PracticePlan(swings=-1), "swings: expected 0 or more"),
        (lambda: PracticePlan(busy=3.0), "busy: expected 0 to 1, received 3.0"),
    ],
)
def test_a_golfer_or_plan_that_cannot_be_is_refused(make, said):
    with pytest.raises(SimulationError, match=said):
        make()
