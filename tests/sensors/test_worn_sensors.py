"""Sensors drawn as people wear them stay within their stated limits and use them."""

import numpy as np
import pytest

from sensors.golfer_simulation import LONG_TURN_GOLFER
from sensors.worn_sensors import imperfect_calibration, worn_sensors


def test_faults_fill_their_limits():
    rng = np.random.default_rng(2)
    drawn = [
        sensor
        for _ in range(300)
        for sensor in worn_sensors(rng, LONG_TURN_GOLFER, soft_tissue=True).values()
    ]
    angles = np.degrees([2.0 * np.arccos(one.mounting[0]) for one in drawn])
    assert 28.0 < angles.max() <= 30.0
    for values, limit in (
        ([one.gyro_bias_dps for one in drawn], 3.0),
        ([one.gyro_scale for one in drawn], 0.005),
        ([one.clock_drift_ppm for one in drawn], 50.0),
    ):
        assert 0.95 * limit < np.abs(values).max() <= limit
        assert np.mean(values) == pytest.approx(0.0, abs=0.1 * limit)
    frequencies = [one.soft_tissue.frequency_hz for one in drawn]
    assert 8.0 <= min(frequencies) < 8.3
    assert 11.7 < max(frequencies) <= 12.0


def test_rigidly_worn_sensors_do_not_ride():
    sensors = worn_sensors(np.random.default_rng(1), LONG_TURN_GOLFER, rate_hz=100.0)
    assert all(one.soft_tissue is None and one.rate_hz == 100.0 for one in sensors.values())
    assert sensors["upper_back"].place_m[1] > sensors["pelvis"].place_m[1]


def test_calibrations_are_off_by_up_to_their_limits():
    rng = np.random.default_rng(4)
    drawn = [imperfect_calibration(rng) for _ in range(300)]
    off = [np.hypot(one.stand_tilt_deg, one.stand_bend_deg).max() for one in drawn]
    assert 2.9 < max(off) <= 3.0
    assert 4.8 < max(abs(one.bow_off_deg) for one in drawn) <= 5.0
