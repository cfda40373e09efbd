"""The true motion is consistent in itself: rates are the derivatives of what they belong to."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sensors.movement_score import UPRIGHT, MovementScore
from sensors.swing_shape import SHORT_TURN_EARLY_TRANSITION, write_swing
from sensors.wire import SEGMENTS
from tests.support.rotations import rate_by_difference


def swing_motion(*, mirrored=False):
    """A second of address and a swing, the body facing 20 degrees off."""
    shape = SHORT_TURN_EARLY_TRANSITION
    score = MovementScore(0.0, UPRIGHT | shape.address() | {"facing": 20.0})
    score.hold(1.0)
    score.ease({"facing": 5.0}, 1.5)
    write_swing(score, shape)
    return score.motion(mirrored=mirrored)


@pytest.mark.parametrize("segment", SEGMENTS)
@pytest.mark.parametrize("mirrored", [False, True])
def test_angular_velocity_is_the_derivative_of_the_orientation(segment, mirrored):
    motion = swing_motion(mirrored=mirrored)
    time_s = np.arange(0.0, motion.end_s, 2e-4)
    middles = motion.segment(segment, 0.5 * (time_s[1:] + time_s[:-1])).angular_velocity
    differences = rate_by_difference(motion.segment(segment, time_s).orientation, time_s)
    assert np.degrees(np.abs(middles).max()) > 400.0
    np.testing.assert_allclose(differences, middles, atol=np.radians(0.01))


@pytest.mark.parametrize("segment", SEGMENTS)
def test_angular_acceleration_is_the_derivative_of_the_angular_velocity(segment):
    motion = swing_motion()
    time_s = np.arange(0.0, motion.end_s, 2e-4)
    differences = np.diff(motion.segment(segment, time_s).angular_velocity, axis=0) / 2e-4
    middles = motion.segment(segment, time_s[:-1] + 1e-4).angular_acceleration
    np.testing.assert_allclose(differences, middles, atol=1e-3 * np.abs(middles).max())


@pytest.mark.parametrize("segment", SEGMENTS)
def test_orientation_is_the_stated_sequence_of_turns(segment):
    score = MovementScore(0.0, UPRIGHT)
    angles = {"facing": 20.0, f"{segment}_tilt": 30.0, f"{segment}_bend": 8.0}
    score.step(angles | {f"{segment}_turn": -70.0}, 1.0)
    found = score.motion().segment(segment, np.array([1.0])).orientation[0]
    facing, tilt, bend, turn = (
        Rotation.from_euler(axis, angle, degrees=True)
        for axis, angle in (("y", 20.0), ("z", -30.0), ("x", 8.0), ("y", -70.0))
    )
    expected = facing * tilt * bend * turn
    between = Rotation.from_quat(found, scalar_first=True).inv() * expected
    assert between.magnitude() == pytest.approx(0.0, abs=1e-12)


def test_leaning_forward_takes_the_long_axis_to_where_the_golfer_faces():
    score = MovementScore(0.0, UPRIGHT)
    score.step({"pelvis_tilt": 30.0}, 1.0)
    state = score.motion().segment("pelvis", np.array([1.0]))
    long_axis = Rotation.from_quat(state.orientation[0], scalar_first=True).apply([0, 1, 0])
    np.testing.assert_allclose(long_axis, [0.5, np.sqrt(0.75), 0.0], atol=1e-12)


@pytest.mark.parametrize("segment", SEGMENTS)
def test_a_left_hander_is_the_mirror_image(segment):
    right, left = swing_motion(), swing_motion(mirrored=True)
    time_s = np.linspace(0.0, right.end_s, 500)
    one, other = right.segment(segment, time_s), left.segment(segment, time_s)
    # A mirror in the x-y plane turns rotation vectors about x and y around, not those about z.
    np.testing.assert_allclose(one.orientation * (1, -1, -1, 1), other.orientation, atol=1e-12)
    np.testing.assert_allclose(
        one.angular_velocity * (-1, -1, 1), other.angular_velocity, atol=1e-12
    )
    np.testing.assert_allclose(one.acceleration * (1, 1, -1), other.acceleration, atol=1e-12)


def test_toward_the_target_is_left_of_a_right_hander():
    motion = swing_motion()
    at_finish = motion.segment("upper_back", np.array([motion.end_s])).orientation[0]
    facing = Rotation.from_quat(at_finish, scalar_first=True).apply([1.0, 0.0, 0.0])
    assert facing[2] < -0.9
