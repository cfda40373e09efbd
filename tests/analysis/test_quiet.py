"""Quiet spells and the bias read from them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import rotation
from analysis.quiet import BIAS_PRIOR_U, gyro_bias, quiet_mask, quiet_spells, running_mean
from analysis.samples import SampleTable
from tests.support.moving_segment import GRAVITY, swing

NOISE = np.radians(0.1)
BIAS = np.radians([1.5, -2.0, 0.7])


def swing_samples(*, bias=BIAS, noise=NOISE, rate_hz=200.0):
    segment, _, end_s = swing()
    time_s = np.arange(0.0, end_s, 1.0 / rate_hz)
    return segment.samples(time_s, bias=bias, noise=noise)


def swaying_samples(*, seconds, sway_dps, bias, seed):
    """Standing with a slow sway about all axes, which comes back; no noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, seconds, 0.005)
    rate = np.zeros((time_s.size, 3))
    for axis in range(3):
        for hertz in (0.6, 0.9, 1.4):
            phase = rng.uniform(0.0, 2.0 * np.pi)
            rate[:, axis] += np.radians(sway_dps) * np.sin(2.0 * np.pi * hertz * time_s + phase)
    accel = np.tile([0.0, GRAVITY, 0.0], (time_s.size, 1))
    return SampleTable(time_s, rate + bias, accel)


def test_the_spells_are_the_quiet_before_and_after_the_swing():
    first, second = quiet_spells(swing_samples())
    assert first.start_s == 0.0
    assert first.end_s == pytest.approx(3.0, abs=0.08)
    assert second.start_s == pytest.approx(4.8, abs=0.12)
    assert second.end_s == pytest.approx(6.795, abs=0.01)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 500.0])
def test_bias_is_read_within_what_it_says_of_itself_at_any_sample_rate(rate_hz):
    bias = gyro_bias(quiet_spells(swing_samples(rate_hz=rate_hz)))
    u = np.sqrt(np.diag(bias.covariance))
    assert np.abs(bias.rate - BIAS).max() < np.radians(0.1)
    assert (np.abs(bias.rate - BIAS) < 3.0 * u).all()
    assert (u < np.radians(0.5)).all()


def test_a_golfer_who_sways_at_address_is_still_quiet():
    samples = swaying_samples(seconds=3.0, sway_dps=1.0, bias=BIAS, seed=1)
    (spell,) = quiet_spells(samples)
    assert spell.end_s - spell.start_s == pytest.approx(3.0, abs=0.01)


@settings(deadline=None, max_examples=20)
@given(st.integers(0, 10_000), st.floats(0.1, 1.2))
def test_bias_under_sway_is_within_its_stated_uncertainty(seed, sway_dps):
    samples = swaying_samples(seconds=2.0, sway_dps=sway_dps, bias=BIAS, seed=seed)
    bias = gyro_bias(quiet_spells(samples))
    u = np.sqrt(np.diag(bias.covariance))
    assert (np.abs(bias.rate - BIAS) < 3.5 * u).all()


def test_a_longer_spell_is_trusted_more_than_a_shorter_one():
    spells = [
        quiet_spells(swaying_samples(seconds=seconds, sway_dps=0.5, bias=BIAS, seed=3))[0]
        for seconds in (0.5, 2.0, 8.0)
    ]
    assert spells[0].gyro_u > 2.0 * spells[1].gyro_u > 4.0 * spells[2].gyro_u


def test_one_spell_of_slow_turning_among_quiet_ones_hardly_counts():
    still = [
        quiet_spells(swaying_samples(seconds=2.0, sway_dps=0.3, bias=BIAS, seed=seed))[0]
        for seed in range(6)
    ]
    turning = replace(still[0], gyro=BIAS + np.radians([0.0, 4.0, 0.0]))
    bias = gyro_bias((*still, turning))
    assert np.degrees(bias.rate - BIAS) == pytest.approx([0.0, 0.0, 0.0], abs=0.12)


def test_without_a_quiet_moment_bias_is_zero_give_or_take_what_sensors_have():
    bias = gyro_bias(())
    assert bias.rate.tolist() == [0.0, 0.0, 0.0]
    assert bias.covariance == pytest.approx(np.eye(3) * BIAS_PRIOR_U**2)


def test_turning_all_the_time_is_not_quiet():
    time_s = np.arange(0.0, 3.0, 0.005)
    gyro = np.tile([0.0, np.radians(40.0), 0.0], (time_s.size, 1))
    accel = np.tile([0.0, GRAVITY, 0.0], (time_s.size, 1))
    assert quiet_spells(SampleTable(time_s, gyro, accel)) == ()


def test_shaking_without_turning_is_not_quiet():
    time_s = np.arange(0.0, 3.0, 0.005)
    accel = np.tile([0.0, GRAVITY, 0.0], (time_s.size, 1))
    accel[:, 1] += 3.0 * np.sin(2.0 * np.pi * 2.0 * time_s)
    mask = quiet_mask(SampleTable(time_s, np.zeros((time_s.size, 3)), accel))
    assert mask.mean() < 0.3


def test_the_spells_do_not_depend_on_how_the_sensor_is_worn():
    samples = swing_samples(noise=0.0)
    mounting = rotation.normalise(np.array([0.7, 0.5, -0.4, 0.3]))
    remounted = SampleTable(
        samples.time_s,
        rotation.rotate(mounting, samples.gyro),
        rotation.rotate(mounting, samples.accel),
    )
    assert [(s.first, s.last) for s in quiet_spells(samples)] == [
        (s.first, s.last) for s in quiet_spells(remounted)
    ]


def test_no_samples_have_no_quiet():
    empty = SampleTable(np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)))
    assert quiet_spells(empty) == ()
    assert quiet_mask(empty).size == 0


@given(st.integers(1, 60), st.floats(0.01, 0.5), st.integers(0, 100))
def test_the_running_mean_is_the_mean_of_the_samples_around(n, width_s, seed):
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.004, 0.02, n))
    values = rng.normal(size=(n, 2))
    smooth = running_mean(time_s, values, width_s)
    row = int(rng.integers(n))
    around = np.abs(time_s - time_s[row]) <= 0.5 * width_s + 1e-6
    assert smooth[row] == pytest.approx(values[around].mean(axis=0), abs=1e-9)


def test_a_movement_on_either_side_of_a_rest_adds_nothing_to_its_mean():
    """Averaging lets 0.05 s of it in, at some degrees a second."""
    time_s = np.arange(0.0, 3.0, 0.01)
    rate = np.zeros((time_s.size, 3))
    rate[:, 1] = np.radians(300.0) * np.clip(np.abs(time_s - 1.5) - 0.4, 0.0, 0.3)
    accel = np.tile([0.0, GRAVITY, 0.0], (time_s.size, 1))
    (spell,) = quiet_spells(SampleTable(time_s, rate + BIAS, accel))
    assert 0.8 < spell.end_s - spell.start_s < 0.9
    assert spell.gyro == pytest.approx(BIAS, abs=np.radians(0.02))
