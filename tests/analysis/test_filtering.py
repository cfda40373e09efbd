"""The low-pass filter: no delay, peaks whole, lost samples bridged."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.filtering import CUTOFF_HZ, low_pass, nominal_step_s

RATES_HZ = (100.0, 200.0, 400.0)


def downswing(time_s: np.ndarray, rise_s: float = 0.2) -> np.ndarray:
    """600 deg/s at 1 s, rising and falling as a raised cosine."""
    since = time_s - 1.0
    return np.where(np.abs(since) < rise_s, 300.0 * (1.0 + np.cos(np.pi * since / rise_s)), 0.0)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_downswings_peak_keeps_its_height_and_its_time(rate_hz: float):
    time_s = np.arange(0.0, 2.0, 1.0 / rate_hz)
    smooth = low_pass(time_s, downswing(time_s))
    assert smooth.max() == pytest.approx(600.0, rel=2e-4)
    assert time_s[np.argmax(smooth)] == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_both_passes_together_halve_a_wave_at_the_cut_off(rate_hz: float):
    time_s = np.arange(0.0, 10.0, 1.0 / rate_hz)
    smooth = low_pass(time_s, np.sin(2.0 * np.pi * CUTOFF_HZ * time_s))
    assert np.abs(smooth[len(time_s) // 4 : -len(time_s) // 4]).max() == pytest.approx(
        0.5, rel=0.01
    )


def test_noise_of_the_gyro_falls_to_a_good_third():
    noise = np.random.default_rng(3).standard_normal(40_000)
    smooth = low_pass(np.arange(noise.size) / 200.0, noise)
    assert smooth.std() == pytest.approx(0.37, abs=0.01)


def test_lost_samples_on_the_way_up_leave_the_peak_within_a_thousandth():
    time_s = np.arange(0.0, 2.0, 0.005)
    kept = np.ones(time_s.size, dtype=bool)
    kept[[172, 173, 188]] = False
    smooth = low_pass(time_s[kept], downswing(time_s[kept]))
    assert smooth.shape == (time_s.size - 3,)
    assert smooth.max() == pytest.approx(600.0, rel=1e-3)


def test_jitter_that_a_clock_fit_leaves_changes_nothing_to_speak_of():
    time_s = np.arange(0.0, 2.0, 0.005)
    shaken = time_s + np.random.default_rng(4).normal(0.0, 2e-5, time_s.size)
    difference = low_pass(shaken, downswing(shaken)) - low_pass(time_s, downswing(time_s))
    assert np.abs(difference).max() < 0.1


def test_both_sides_of_a_long_hole_are_filtered_apart():
    time_s = np.concatenate((np.arange(0.0, 1.0, 0.005), np.arange(9.0, 10.0, 0.005)))
    steps = np.where(time_s < 5.0, 0.0, 100.0)
    assert low_pass(time_s, steps) == pytest.approx(steps, abs=1e-9)


def test_columns_are_filtered_each_by_itself():
    time_s = np.arange(0.0, 2.0, 0.005)
    values = np.stack((downswing(time_s), np.full(time_s.size, 5.0)), axis=1)
    smooth = low_pass(time_s, values)
    assert smooth[:, 0] == pytest.approx(low_pass(time_s, values[:, 0]), abs=1e-12)
    assert smooth[:, 1] == pytest.approx(5.0)


def test_the_nominal_step_is_the_usual_one_even_with_holes():
    time_s = np.concatenate((np.arange(0.0, 1.0, 0.005), np.arange(3.0, 4.0, 0.005)))
    assert nominal_step_s(time_s) == pytest.approx(0.005)


def test_too_few_samples_to_filter_come_back_as_they_are():
    assert low_pass(np.array([1.0]), np.array([7.0])) == pytest.approx([7.0])
    assert low_pass(np.array([1.0, 1.005]), np.array([7.0, 8.0])).shape == (2,)
