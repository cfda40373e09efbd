"""Undoing the ride of a sensor that is strapped on."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lsim

from analysis.error_causes import mixing
from analysis.filtering import low_pass
from analysis.orientation import segment_motion
from analysis.results import Calibration, Fixing, Mounting
from analysis.ride import without_ride
from analysis.samples import SampleTable
from analysis.segment_effects import RIDE

RATE_HZ = 200.0
TIME_S = np.arange(0.0, 4.0, 1.0 / RATE_HZ)
DOWNSWING_S = 0.4
"""From rest to rest; a raised cosine, whose content ends at some 5 Hz."""
PEAK = np.radians(500.0)


def downswing(time_s):
    since = np.clip((time_s - 2.0) / DOWNSWING_S, 0.0, 1.0)
    return PEAK * 0.5 * (1.0 - np.cos(2.0 * np.pi * since))


def ridden(rate, hertz, damping):
    """What a sensor on a spring shows of a rate (scipy's own integration of the spring)."""
    w = 2.0 * np.pi * hertz
    spring = ([2.0 * damping * w, w * w], [1.0, 2.0 * damping * w, w * w])
    return lsim(spring, rate, TIME_S)[1]


def three(rate):
    return np.stack([0.2 * rate, rate, -0.1 * rate], axis=1)


def undone(shown, time_s=TIME_S):
    return without_ride(time_s, three(shown))[:, 1]


@pytest.mark.parametrize("hertz", [8.0, 9.0, 10.0, 12.0])
@pytest.mark.parametrize("damping", [0.1, 0.17, 0.25])
def test_a_good_part_of_the_ride_is_undone_whichever_the_spring(hertz, damping):
    true = downswing(TIME_S)
    shown = ridden(true, hertz, damping)
    before = np.sqrt(np.mean((shown - true) ** 2))
    after = np.sqrt(np.mean((undone(shown) - true) ** 2))
    assert after < 0.65 * before
    assert abs(undone(shown).max() - PEAK) < 0.65 * abs(shown.max() - PEAK) + 0.001 * PEAK


def test_the_middle_spring_is_undone_to_a_tenth():
    true = downswing(TIME_S)
    shown = ridden(true, 9.8, 0.17)
    assert shown.max() > 1.03 * PEAK
    assert abs(undone(shown).max() - PEAK) < 0.003 * PEAK
    peak_s = TIME_S[np.argmax(undone(shown))]
    assert peak_s == pytest.approx(2.0 + DOWNSWING_S / 2.0, abs=0.006)


def test_a_steady_turn_and_rest_do_not_change():
    steady = np.full((TIME_S.size, 3), 0.7)
    assert np.abs(without_ride(TIME_S, steady) - steady).max() < 1e-9


def test_noise_in_the_band_of_a_swing_does_not_grow():
    noise = np.random.default_rng(5).standard_normal((TIME_S.size, 3))
    before, after = (low_pass(TIME_S, one) for one in (noise, without_ride(TIME_S, noise)))
    assert np.std(after) < np.std(before)


def test_lost_samples_disturb_it_no_further_than_they_reach():
    true = downswing(TIME_S)
    shown = ridden(true, 9.8, 0.17)
    kept = (TIME_S < 1.2) | (TIME_S > 1.3)
    late = TIME_S[kept] > 1.8
    found = undone(shown[kept], TIME_S[kept])[late]
    assert np.abs(found - undone(shown)[TIME_S > 1.8]).max() < 0.001 * PEAK


@pytest.mark.parametrize("n", [0, 1, 2])
def test_too_few_samples_are_given_back(n):
    gyro = np.ones((n, 3))
    assert np.array_equal(without_ride(TIME_S[:n], gyro), gyro)


def worn(fixing):
    """Motion of a segment from a riding sensor, with what holds it said."""
    gyro = three(ridden(downswing(TIME_S), 9.8, 0.17))
    accel = np.tile([0.0, 9.81, 0.0], (TIME_S.size, 1))
    mounting = Mounting(np.array([1.0, 0.0, 0.0, 0.0]))
    calibration = Calibration(mounting, mounting, calibrated=True).fixed(fixing, fixing)
    return segment_motion(SampleTable(TIME_S, gyro, accel), calibration.pelvis)


def peak(fixing):
    return worn(fixing).angular_velocity[:, 1].max()


def test_it_is_undone_only_where_the_sensor_is_said_to_be_strapped_on():
    assert peak(Fixing.UNKNOWN) == peak(Fixing.RIGID)
    assert peak(Fixing.UNKNOWN) > peak(Fixing.STRAPPED) + 0.02 * PEAK


def test_on_a_plate_nothing_rides_and_a_strapped_sensor_always_does():
    alike = np.ones(RIDE.stop - RIDE.start)
    shares = {
        fixing: np.linalg.norm(alike @ mixing(0, worn(fixing), 0.0, calibrated=True)[RIDE])
        for fixing in Fixing
    }
    assert shares[Fixing.RIGID] == 0.0
    assert shares[Fixing.UNKNOWN] == pytest.approx(np.sqrt(0.5))
    assert shares[Fixing.STRAPPED] == pytest.approx(1.0)
    differ = np.array([1.0, 1.0, -1.0, -1.0])
    spread = differ @ mixing(0, worn(Fixing.STRAPPED), 0.0, calibrated=True)[RIDE]
    assert np.linalg.norm(spread) > 0.5
