"""Mounting from standing and one bow."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from analysis import rotation
from analysis.calibration import calibrate, worn_in_segment_axes
from analysis.errors import CalibrationError
from analysis.results import Interval
from analysis.samples import SampleTable
from tests.support.moving_segment import MovingSegment

STAND = Interval(0.0, 3.0)
BOW = Interval(3.0, 7.0)
NOISE = np.radians(0.05)
BIAS = np.radians([2.0, -1.0, 1.5])


def bower(*, depth_deg=45.0, turned_deg=0.0, leant_deg=0.0, sway_deg=0.0):
    """Stands, bows, holds, rises. The bow may go with a turn or a lean to one side."""
    knots = np.array([0.0, 1.0, 2.0, 3.0, 4.5, 5.0, 6.5, 7.0])
    angles = np.zeros((8, 3))
    angles[1, 2], angles[2, 2] = sway_deg, -sway_deg
    angles[4:6] = (turned_deg, leant_deg, -depth_deg)
    return MovingSegment(knots, angles)


def table(mover, mounting, *, seed=0, bias=BIAS):
    time_s = np.arange(0.0, 7.0, 0.005)
    return mover.samples(time_s, mounting=mounting, bias=bias, noise=NOISE, seed=seed)


def calibrated(mover, mounting, **intervals):
    samples = table(mover, mounting)
    stand, bow = intervals.get("stand", STAND), intervals.get("bow", BOW)
    return calibrate(samples, samples, stand, bow, from_s=7.0)


def off_deg(found, mounting):
    """How far a found mounting is from the real one, degrees."""
    real = mounting.as_quat(scalar_first=True)
    difference = rotation.multiply(found.rotation, rotation.conjugate(real))
    return float(np.degrees(np.linalg.norm(rotation.to_rotation_vector(difference))))


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 100_000), st.floats(0.0, 180.0))
def test_the_mounting_is_found_however_the_sensor_is_clipped_on(seed, angle_deg):
    axis = np.random.default_rng(seed).standard_normal(3)
    mounting = Rotation.from_rotvec(np.radians(angle_deg) * axis / np.linalg.norm(axis))
    calibration = calibrated(bower(), mounting)
    assert calibration.flags == ()
    assert calibration.calibrated
    assert off_deg(calibration.pelvis, mounting) < 0.3
    assert off_deg(calibration.upper_back, mounting) < 0.3


def test_bowing_forward_is_a_negative_turn_about_the_right_axis():
    mounting = Rotation.from_euler("YXZ", [70.0, 20.0, -40.0], degrees=True)
    samples = table(bower(), mounting)
    found = calibrate(samples, samples, STAND, BOW, from_s=7.0).pelvis
    going_down = samples.between(3.3, 4.2)
    rate = rotation.rotate(found.rotation, going_down.gyro - BIAS).mean(axis=0)
    assert rate[2] < -np.radians(20.0)
    assert np.abs(rate[:2]).max() < np.radians(0.5)
    # bent over, gravity's reaction points up and, seen from the trunk, to its back
    bent = rotation.rotate(found.rotation, samples.between(4.6, 4.9).accel).mean(axis=0)
    assert bent[0] < -5.0
    assert bent[1] > 5.0


@pytest.mark.parametrize(
    "bow", [Interval(3.0, 4.7), Interval(4.8, 7.0), Interval(3.0, 7.0), Interval(3.6, 6.8)]
)
def test_going_down_coming_up_or_both_give_the_same_axis(bow):
    mounting = Rotation.from_rotvec([0.5, -0.9, 0.3])
    assert off_deg(calibrated(bower(), mounting, bow=bow).pelvis, mounting) < 0.5


def test_each_sensor_gets_its_own_mounting():
    first, second = Rotation.from_rotvec([0.3, 0.0, 0.2]), Rotation.from_rotvec([0.0, -1.0, 0.4])
    calibration = calibrate(table(bower(), first), table(bower(), second), STAND, BOW, from_s=8.5)
    assert off_deg(calibration.pelvis, first) < 0.3
    assert off_deg(calibration.upper_back, second) < 0.3
    assert calibration.from_s == 8.5


def test_the_uncertainty_is_that_of_people_standing_and_bowing():
    found = calibrated(bower(), Rotation.identity()).pelvis
    assert 1.0 < np.degrees(found.tilt_u_rad) < 3.0
    assert 2.0 < np.degrees(found.heading_u_rad) < 5.0


def test_a_bow_of_15_degrees_is_refused_with_what_to_do():
    with pytest.raises(CalibrationError, match=r"pelvis sensor saw a bow of 15 degrees.*Repeat"):
        calibrated(bower(depth_deg=15.0), Rotation.identity())


def test_a_bow_of_25_degrees_is_enough():
    assert calibrated(bower(depth_deg=25.0), Rotation.identity()).flags == ()


def test_walking_instead_of_standing_is_refused():
    with pytest.raises(CalibrationError, match=r"deg/s while standing.*stand tall and still"):
        calibrated(bower(sway_deg=15.0), Rotation.identity())


def test_leaning_over_slowly_while_standing_is_flagged():
    knots = np.array([0.0, 3.0, 4.5, 5.0, 7.0])
    angles = np.zeros((5, 3))
    angles[:, 2] = (0.0, -9.0, -50.0, -50.0, -5.0)
    calibration = calibrated(MovingSegment(knots, angles), Rotation.identity())
    assert {flag.code for flag in calibration.flags} == {"stand_unsteady"}
    assert "pelvis" in calibration.flags[0].text


def test_twisting_while_bent_over_is_flagged():
    knots = np.array([0.0, 3.0, 4.0, 5.0, 6.0, 7.0])
    angles = np.zeros((6, 3))
    angles[2:5, 2] = -45.0
    angles[3, 0] = 60.0
    calibration = calibrated(MovingSegment(knots, angles), Rotation.identity())
    assert "bow_crooked" in {flag.code for flag in calibration.flags}


def test_a_bow_to_one_side_is_flagged():
    calibration = calibrated(bower(turned_deg=35.0, leant_deg=10.0), Rotation.identity())
    assert "calibration_skewed" in {flag.code for flag in calibration.flags}


def test_a_bow_about_a_tilted_axis_is_flagged():
    """As when the sensor slips between standing and bowing."""
    upright = table(bower(), Rotation.identity())
    slipped = table(bower(), Rotation.from_rotvec(np.radians([25.0, 0.0, 0.0])))
    late = upright.time_s >= 3.0
    mixed = SampleTable(
        upright.time_s,
        np.where(late[:, None], slipped.gyro, upright.gyro),
        np.where(late[:, None], slipped.accel, upright.accel),
    )
    calibration = calibrate(mixed, mixed, STAND, BOW, from_s=7.0)
    assert "calibration_skewed" in {flag.code for flag in calibration.flags}


@pytest.mark.parametrize(
    ("stand", "bow", "doing"),
    [
        (Interval(50.0, 53.0), BOW, "standing"),
        (STAND, Interval(50.0, 53.0), "bowing"),
        (Interval(1.0, 1.2), BOW, "standing"),
        (STAND, Interval(4.0, 3.0), "bowing"),
    ],
)
def test_a_stretch_without_samples_is_refused_by_name(stand, bow, doing):
    with pytest.raises(CalibrationError, match=rf"samples from .* \({doing}\); at least 0.5 s"):
        calibrated(bower(), Rotation.identity(), stand=stand, bow=bow)


def test_without_stand_and_bow_sensor_axes_are_segment_axes_and_it_is_said():
    calibration = worn_in_segment_axes()
    assert not calibration.calibrated
    assert calibration.pelvis.rotation.tolist() == [1.0, 0.0, 0.0, 0.0]
    assert calibration.upper_back.rotation.tolist() == [1.0, 0.0, 0.0, 0.0]
    assert [flag.code for flag in calibration.flags] == ["uncalibrated"]
