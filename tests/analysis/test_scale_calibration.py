"""Gyro scale from whole turns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from analysis.errors import CalibrationError
from analysis.samples import SampleTable
from analysis.scale_calibration import KnownTurns, scale_factors
from tests.support.moving_segment import GRAVITY

RATE_HZ = 200.0
NOISE = np.radians(0.1)
BIAS = np.radians([1.0, -2.0, 0.5])


def turned(axis, turns, *, gain=(1.0, 1.0, 1.0), held_off=None, seed=0, rest_s=1.5):
    """Rest, `turns` whole turns about a sensor axis in 2 s each, rest; gain of the gyro's axes."""
    turn_s = 2.0 * abs(turns)
    time_s = np.arange(0.0, 2.0 * rest_s + turn_s, 1.0 / RATE_HZ)
    share = np.clip((time_s - rest_s) / turn_s, 0.0, 1.0)
    speed = 2.0 * np.pi * turns / turn_s * (1.0 - np.cos(2.0 * np.pi * share))
    direction = np.eye(3)[axis]
    if held_off is not None:
        direction = held_off.apply(direction)
    rng = np.random.default_rng(seed)
    gyro = np.outer(speed, direction) * np.asarray(gain) + BIAS
    gyro += NOISE * rng.standard_normal(gyro.shape)
    accel = np.tile(GRAVITY * direction, (time_s.size, 1))
    return KnownTurns(SampleTable(time_s, gyro, accel), turns)


@settings(deadline=None, max_examples=15)
@given(*(st.floats(0.95, 1.05) for _ in range(3)), st.integers(0, 1000))
def test_the_factors_undo_the_gain_of_each_axis(x, y, z, seed):
    gain = np.array([x, y, z])
    tilted = Rotation.from_rotvec(np.radians([3.0, -4.0, 2.0]))
    sets = [
        turned(axis, turns, gain=gain, held_off=tilted, seed=seed + axis)
        for axis, turns in ((0, 3), (1, -3), (2, 5))
    ]
    found = scale_factors(sets)
    assert found.factors * gain == pytest.approx(np.ones(3), abs=0.002)
    assert (np.abs(found.factors * gain - 1.0) < 4.0 * found.u).all()


def test_corrected_samples_make_the_whole_turns_whole():
    gain = np.array([1.03, 0.98, 1.01])
    sets = [turned(axis, 4, gain=gain) for axis in range(3)]
    found = scale_factors(sets)
    for axis, known in enumerate(sets):
        samples = found.applied_to(known.samples)
        shown = np.trapezoid(
            samples.gyro[:, axis] - found.factors[axis] * BIAS[axis], samples.time_s
        )
        assert shown == pytest.approx(8.0 * np.pi, rel=0.001)


def test_more_turns_make_the_factors_more_certain():
    few = scale_factors([turned(axis, 1) for axis in range(3)])
    many = scale_factors([turned(axis, 6) for axis in range(3)])
    assert (many.u < 0.5 * few.u).all()


def test_a_missing_axis_is_named():
    with pytest.raises(CalibrationError, match="No turns about the sensor's z axis"):
        scale_factors([turned(0, 3), turned(1, 3)])
    with pytest.raises(CalibrationError, match="x and y and z"):
        scale_factors([])


def test_a_wrong_count_of_turns_is_found():
    wrong = KnownTurns(turned(1, 3).samples, 4)
    with pytest.raises(CalibrationError, match=r"y axis comes out at 1\.33.*Count the turns"):
        scale_factors([turned(0, 3), wrong, turned(2, 3)])


def test_turns_without_rest_at_both_ends_are_refused():
    with pytest.raises(CalibrationError, match="at rest for a second before"):
        scale_factors([turned(0, 3, rest_s=0.05), turned(1, 3), turned(2, 3)])
