"""Stated uncertainties of turn, obliquity and tilt against what they really miss by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import rotation
from analysis.angle_uncertainty import SCALE_U, _sensitivity, angle_covariance
from analysis.orientation import segment_motion
from analysis.results import Mounting
from analysis.samples import SampleTable
from tests.support.moving_segment import swing

NOISE = np.radians(0.1)
TILT_U, HEADING_U = np.radians(1.7), np.radians(2.9)
SEGMENT, TOP_S, END_S = swing(quiet_s=4.0)
ADDRESS_S = 3.9
TIME_S = np.arange(0.0, END_S, 0.005)


def angles_at(motion):
    """Turn since address, obliquity and tilt at the top, rad."""
    angles = np.unwrap(rotation.cardan_yxz(motion.orientation), axis=0)
    at = [np.array([np.interp(s, TIME_S, c) for c in angles.T]) for s in (ADDRESS_S, TOP_S)]
    return at[1] - [at[0][0], 0.0, 0.0]


def true_angles():
    angles = rotation.cardan_yxz(SEGMENT.orientation(np.array([ADDRESS_S, TOP_S])))
    return angles[1] - [angles[0, 0], 0.0, 0.0]


def one_session(rng, *, mounted):
    """A swing with errors drawn at random; the motion found and its angles' errors."""
    bias = np.radians(1.5) * rng.standard_normal(3)
    plain = SEGMENT.samples(TIME_S, noise=NOISE, seed=int(rng.integers(1 << 30)))
    gain = 1.0 + SCALE_U * rng.standard_normal(3)
    samples = SampleTable(TIME_S, plain.gyro * gain + bias, plain.accel)
    wrong = rng.standard_normal(3) * [TILT_U, HEADING_U, TILT_U] * mounted
    mounting = Mounting(rotation.from_rotation_vector(wrong), TILT_U * mounted, HEADING_U * mounted)
    motion = segment_motion(samples, mounting)
    return motion, angles_at(motion) - true_angles()


@given(st.floats(-3.0, 3.0), st.floats(-1.2, 1.2), st.floats(-3.0, 3.0))
def test_the_sensitivity_is_the_derivative_of_the_angles(turn, obliquity, tilt):
    angles = np.array([turn, obliquity, tilt])
    quaternion = rotation.from_cardan_yxz(angles)
    matrix = _sensitivity(rotation.to_matrix(quaternion))
    for axis in range(3):
        small = rotation.from_rotation_vector(1e-6 * np.eye(3)[axis])
        moved = rotation.cardan_yxz(rotation.multiply(small, quaternion))
        slope = np.angle(np.exp(1j * (moved - angles))) / 1e-6
        assert matrix[:, axis] == pytest.approx(slope, abs=2e-4)


@pytest.mark.parametrize("mounted", [0.0, 1.0])
def test_95_percent_intervals_hold_the_truth_about_as_often_as_they_say(mounted):
    rng = np.random.default_rng(11)
    held = []
    for _ in range(150):
        motion, errors = one_session(rng, mounted=mounted)
        u = np.sqrt(np.diag(angle_covariance(motion, ADDRESS_S, TOP_S)))
        held.append(np.abs(errors) < 1.96 * u)
    share = np.mean(held, axis=0)
    assert (share > 0.9).all()
    # with the mounting well known, tilt is limited by sway that this segment does not have
    assert share[0] < 0.995


def test_each_cause_makes_it_larger():
    motion, _ = one_session(np.random.default_rng(0), mounted=1.0)

    def turn_u(changed=motion, **options):
        return float(np.sqrt(angle_covariance(changed, ADDRESS_S, TOP_S, **options)[0, 0]))

    usual = turn_u()
    assert turn_u(scale_u=0.03) > 2.0 * usual > turn_u(scale_u=0.0)
    assert turn_u(ride_hz=10.0) > usual
    assert turn_u(ride_hz=8.0) > turn_u(ride_hz=12.0)
    assert turn_u(replace(motion, bias_covariance=9.0 * motion.bias_covariance)) > usual
    assert turn_u(replace(motion, noise_density=100.0 * motion.noise_density)) > usual
    better = replace(motion.mounting, heading_u_rad=0.0)
    assert turn_u(replace(motion, mounting=better)) < usual


def test_scale_counts_by_the_angle_turned():
    """3 % of 80 degrees is 2.4 degrees: a part as it comes."""
    motion, _ = one_session(np.random.default_rng(1), mounted=0.0)
    with_scale = angle_covariance(motion, ADDRESS_S, TOP_S, scale_u=0.03)[0, 0]
    without = angle_covariance(motion, ADDRESS_S, TOP_S, scale_u=0.0)[0, 0]
    assert np.degrees(np.sqrt(with_scale - without)) == pytest.approx(2.4, abs=0.25)


def test_at_address_itself_the_turn_is_certain():
    motion, _ = one_session(np.random.default_rng(2), mounted=1.0)
    covariance = angle_covariance(motion, ADDRESS_S, ADDRESS_S)
    assert np.degrees(np.sqrt(covariance[0, 0])) < 0.05
    assert np.degrees(np.sqrt(covariance[1, 1])) > 1.0


def test_a_time_before_address_is_as_uncertain_as_one_after():
    motion, _ = one_session(np.random.default_rng(3), mounted=0.0)
    there = angle_covariance(motion, ADDRESS_S, ADDRESS_S + 0.05)
    back = angle_covariance(motion, ADDRESS_S, ADDRESS_S - 0.05)
    assert np.sqrt(back[0, 0]) == pytest.approx(np.sqrt(there[0, 0]), rel=0.3)
