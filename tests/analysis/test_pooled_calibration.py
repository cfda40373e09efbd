"""Repeated stands and bows as one calibration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from analysis.calibration import BOW_U, STANCE_U
from analysis.pooled_calibration import pooled
from analysis.results import Calibration, Flag, Mounting

REAL = Rotation.from_rotvec([0.4, -0.8, 0.3])
CROOKED = Flag("bow_crooked", "the bow went to one side")


def calibration(off_deg, *, from_s=0.0, flags=()):
    """Both sensors found `off_deg` (3,) off, about the segment's axes."""
    found = Rotation.from_rotvec(np.radians(off_deg)) * REAL
    mounting = Mounting(found.as_quat(scalar_first=True), STANCE_U, BOW_U)
    return Calibration(mounting, mounting, from_s, calibrated=True, flags=flags)


def off(mounting):
    found = Rotation.from_quat(mounting.rotation, scalar_first=True)
    return np.degrees((found * REAL.inv()).as_rotvec())


def test_the_middle_of_repeats_is_the_mean_rotation_of_scipy():
    rng = np.random.default_rng(3)
    repeats = [calibration(rng.uniform(-3.0, 3.0, 3)) for _ in range(5)]
    quaternions = np.array([one.pelvis.rotation for one in repeats])
    mean = Rotation.from_quat(quaternions, scalar_first=True).mean()
    found = Rotation.from_quat(pooled(repeats).pelvis.rotation, scalar_first=True)
    assert np.degrees((found * mean.inv()).magnitude()) < 0.002


def test_errors_that_differ_from_repeat_to_repeat_average_out():
    repeats = [calibration([3.0, 0.0, 0.0]), calibration([-3.0, 0.0, 0.0])]
    assert np.abs(off(pooled(repeats).upper_back)).max() < 0.01


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_quaternion_and_its_negative_are_the_same_repeat(sign):
    first, second = calibration([1.0, 0.0, 0.0]), calibration([-1.0, 0.0, 0.0])
    turned = replace(second.pelvis, rotation=sign * second.pelvis.rotation)
    assert np.abs(off(pooled([first, replace(second, pelvis=turned)]).pelvis)).max() < 0.01


def test_one_repeat_is_itself():
    only = calibration([1.0, 2.0, 3.0], from_s=7.0)
    assert pooled([only]) == only


def test_it_holds_from_the_earliest_stand_on():
    repeats = [calibration([0.0] * 3, from_s=20.0), calibration([0.0] * 3, from_s=9.0)]
    assert pooled(repeats).from_s == 9.0


def test_three_repeats_are_surer_than_one_but_not_beyond_the_golfers_habit():
    thrice = pooled([calibration([0.0] * 3) for _ in range(3)])
    many = thrice.pelvis
    assert thrice.repeats == 3
    endless = pooled([calibration([0.0] * 3) for _ in range(1000)]).pelvis
    assert endless.tilt_u_rad < many.tilt_u_rad < STANCE_U
    assert endless.heading_u_rad < many.heading_u_rad < BOW_U
    assert endless.tilt_u_rad == pytest.approx(STANCE_U * np.sqrt(0.5), rel=0.01)


def test_repeats_that_scatter_more_than_expected_are_less_sure():
    calm = pooled([calibration([0.0, heading, 0.0]) for heading in (-1.0, 1.0)]).pelvis
    wild = pooled([calibration([0.0, heading, 0.0]) for heading in (-6.0, 6.0)]).pelvis
    assert wild.heading_u_rad > 1.2 * calm.heading_u_rad
    assert wild.tilt_u_rad == pytest.approx(calm.tilt_u_rad)


def test_the_stated_uncertainty_holds_when_habit_and_chance_are_drawn():
    rng = np.random.default_rng(11)
    spread = np.degrees([STANCE_U, BOW_U, STANCE_U]) * np.sqrt(0.5)
    share = []
    for _ in range(400):
        habit = spread * rng.standard_normal(3)
        found = pooled([calibration(habit + spread * rng.standard_normal(3)) for _ in range(3)])
        u = np.degrees(
            [found.pelvis.tilt_u_rad, found.pelvis.heading_u_rad, found.pelvis.tilt_u_rad]
        )
        share.append(np.abs(off(found.pelvis)) <= 1.96 * u)
    assert 0.93 < np.mean(share) < 0.99


def test_a_doubtful_repeat_is_left_out_where_another_is_without_doubt():
    good, bad = calibration([0.0] * 3), calibration([0.0, 25.0, 0.0], flags=(CROOKED,))
    found = pooled([good, bad])
    assert (found.flags, found.repeats) == ((), 1)
    assert np.abs(off(found.pelvis)).max() < 0.01


def test_doubts_of_all_repeats_stay_and_are_said_once():
    bad = calibration([0.0] * 3, flags=(CROOKED,))
    assert pooled([bad, bad]).flags == (CROOKED,)


def test_a_sensor_that_moved_between_two_repeats_is_said():
    codes = [
        flag.code for flag in pooled([calibration([0.0] * 3), calibration([14.0, 0, 0])]).flags
    ]
    assert codes == ["calibration_scattered"] * 2
    assert pooled([calibration([0.0, -5.0, 3.0]), calibration([0.0, 5.0, -3.0])]).flags == ()


def test_nothing_to_pool_is_refused():
    with pytest.raises(ValueError, match="at least one"):
        pooled([])
