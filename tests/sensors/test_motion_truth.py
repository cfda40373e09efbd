"""The truth of a swing agrees with what scipy's rotations say of the same motion."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensors.motion_truth import QUIET_DPS, TAKEAWAY_DPS, swing_truth
from sensors.movement_score import UPRIGHT, MovementScore
from sensors.swing_shape import LONG_TURN_LATE_TRANSITION, SHORT_TURN_EARLY_TRANSITION, write_swing
from sensors.wire import SEGMENTS
from tests.support.rotations import cardan_deg

STEP_S = 1e-4


@pytest.fixture(params=[False, True], ids=["right", "left"])
def swing(request):
    shape = SHORT_TURN_EARLY_TRANSITION
    score = MovementScore(0.0, UPRIGHT | shape.address() | {"facing": 12.0})
    score.hold(1.0)
    impact_s = write_swing(score, shape)
    motion = score.motion(mirrored=request.param)
    time_s = np.arange(0.0, motion.end_s, STEP_S)
    states = {segment: motion.segment(segment, time_s) for segment in SEGMENTS}
    return swing_truth(motion, 1, 1.0, motion.end_s, impact_s), time_s, states, motion.target_sign


def at(time_s, when_s, values):
    return float(np.interp(when_s, time_s, values))


def axial_dps(states, segment, sign):
    return sign * np.degrees(states[segment].angular_velocity[:, 1])


def test_turns_and_separation_are_headings_of_the_right_axis_since_address(swing):
    truth, time_s, states, sign = swing
    turn = {}
    for segment in SEGMENTS:
        heading = sign * cardan_deg(states[segment].orientation, "YXZ")[:, 0]
        turn[segment] = heading - at(time_s, truth.events["address_s"], heading)
        found = truth.metrics[f"{segment}_turn_top_deg"]
        assert found == pytest.approx(at(time_s, truth.events["top_s"], turn[segment]), abs=0.01)
        assert found < -30.0
    apart = turn["pelvis"] - turn["upper_back"]
    first_s = min(truth.events["top_s"], truth.events["pelvis_reversal_s"])
    inside = (time_s >= first_s) & (time_s <= truth.events["upper_back_peak_s"])
    assert truth.metrics["separation_top_deg"] == pytest.approx(
        at(time_s, truth.events["top_s"], apart), abs=0.01
    )
    assert truth.metrics["separation_max_deg"] == pytest.approx(apart[inside].max(), abs=0.01)
    assert truth.metrics["separation_gain_deg"] == pytest.approx(
        truth.metrics["separation_max_deg"] - truth.metrics["separation_top_deg"], abs=1e-9
    )


def test_posture_at_the_top_is_the_second_and_third_angle(swing):
    truth, time_s, states, sign = swing
    for segment in SEGMENTS:
        angles = cardan_deg(states[segment].orientation, "YXZ")
        obliquity = at(time_s, truth.events["top_s"], sign * angles[:, 1])
        forward = at(time_s, truth.events["top_s"], -angles[:, 2])
        assert truth.metrics[f"{segment}_obliquity_top_deg"] == pytest.approx(obliquity, abs=0.01)
        assert truth.metrics[f"{segment}_forward_tilt_top_deg"] == pytest.approx(forward, abs=0.01)
        # Turned away over a forward lean, the lead side is the lower one.
        assert obliquity < -5.0


def test_joint_separation_is_the_third_angle_of_z_x_y_since_address(swing):
    truth, time_s, states, sign = swing
    pelvis, upper = (states[segment].orientation for segment in SEGMENTS)
    inverse = pelvis * (1.0, -1.0, -1.0, -1.0)
    joint = -sign * cardan_deg(_product(inverse, upper), "ZXY")[:, 2]
    joint -= at(time_s, truth.events["address_s"], joint)
    found = truth.metrics["joint_separation_top_deg"]
    assert found == pytest.approx(at(time_s, truth.events["top_s"], joint), abs=0.01)
    assert found > 20.0


def _product(left, right):
    product = Rotation.from_quat(left, scalar_first=True) * Rotation.from_quat(
        right, scalar_first=True
    )
    return product.as_quat(scalar_first=True)


@pytest.mark.parametrize("segment", SEGMENTS)
def test_reversal_and_peak_are_those_of_the_axial_velocity(swing, segment):
    truth, time_s, states, sign = swing
    velocity = axial_dps(states, segment, sign)
    reversal_s = truth.events[f"{segment}_reversal_s"]
    assert abs(at(time_s, reversal_s, velocity)) < 0.05
    assert at(time_s, reversal_s - 0.01, velocity) < 0.0 < at(time_s, reversal_s + 0.01, velocity)
    assert truth.metrics[f"{segment}_peak_dps"] == pytest.approx(velocity.max(), abs=0.01)
    assert truth.events[f"{segment}_peak_s"] == pytest.approx(
        time_s[np.argmax(velocity)], abs=2 * STEP_S
    )


@pytest.mark.parametrize("segment", SEGMENTS)
def test_peak_speed_is_made_of_runway_and_rate_exactly(swing, segment):
    truth, time_s, states, sign = swing
    metrics = truth.metrics
    inside = (time_s >= truth.events[f"{segment}_reversal_s"]) & (
        time_s <= truth.events[f"{segment}_peak_s"]
    )
    angle = np.trapezoid(axial_dps(states, segment, sign)[inside], time_s[inside])
    assert metrics[f"{segment}_runway_deg"] == pytest.approx(angle, abs=0.1)
    made = np.sqrt(2.0 * metrics[f"{segment}_mean_rate_dps2"] * metrics[f"{segment}_runway_deg"])
    assert metrics[f"{segment}_peak_dps"] == pytest.approx(made, rel=1e-12)


def test_takeaway_and_address_pass_their_stated_speeds(swing):
    truth, time_s, states, sign = swing
    velocity = axial_dps(states, "upper_back", sign)
    takeaway_s = truth.events["takeaway_s"]
    assert at(time_s, takeaway_s, velocity) == pytest.approx(-TAKEAWAY_DPS, abs=0.05)
    between = (time_s > takeaway_s + 0.01) & (time_s < truth.events["top_s"] - 0.01)
    assert np.all(velocity[between] < -TAKEAWAY_DPS + 3.0)
    speeds = [
        at(
            time_s,
            truth.events["address_s"],
            np.degrees(np.linalg.norm(states[segment].angular_velocity, axis=1)),
        )
        for segment in SEGMENTS
    ]
    assert 0.9 * QUIET_DPS < max(speeds) <= QUIET_DPS
    assert 1.0 < truth.events["address_s"] < takeaway_s < 1.2


def test_durations_follow_from_the_events(swing):
    truth = swing[0]
    events, metrics = truth.events, truth.metrics
    assert metrics["backswing_s"] == events["top_s"] - events["takeaway_s"]
    assert metrics["downswing_s"] == events["impact_s"] - events["top_s"]
    assert metrics["tempo"] == metrics["backswing_s"] / metrics["downswing_s"]
    assert metrics["peak_gap_ms"] == pytest.approx(
        1e3 * (events["upper_back_peak_s"] - events["pelvis_peak_s"])
    )


def test_a_motion_without_a_swing_has_no_truth():
    score = MovementScore(0.0, UPRIGHT | LONG_TURN_LATE_TRANSITION.address())
    score.hold(1.0)
    score.step({"upper_back_turn": 60.0, "pelvis_turn": 60.0}, 1.0)
    with pytest.raises(ValueError, match="holds no swing"):
        swing_truth(score.motion(), 1, 1.0, 2.0, 1.5)
