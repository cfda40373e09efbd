"""The sync check: the offset between two clocks from one common twist."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sensors.sync_check import SyncVerdict, sync_check

SECONDS = 6.0


def twist(rng, rate_hz, *, offset_s=0.0, size_dps=300.0, seconds=SECONDS, seed_motion=1):
    """Times and rates of one sensor in one of many attitudes, with noise, bias and scale."""
    motion = np.random.default_rng(seed_motion)
    phases, hertz = motion.uniform(0, 6, (3, 4)), motion.uniform(0.4, 2.5, (3, 4))
    true_s = np.arange(rng.uniform(0, 1 / rate_hz), seconds, 1 / rate_hz)
    rate = np.radians(size_dps) / 2 * np.sin(2 * np.pi * hertz * true_s[:, None, None] + phases)
    turned = Rotation.random(rng=rng).apply(rate.sum(axis=2))
    scaled = turned * (1.0 + rng.normal(0, 0.005)) + np.radians(rng.normal(0, 1.5, 3))
    noisy = scaled + np.radians(rng.normal(0, 0.15, scaled.shape))
    return true_s - offset_s, noisy


@given(st.floats(-0.2, 0.2), st.integers(0, 2**16), st.sampled_from([(200, 200), (104, 200)]))
def test_the_offset_between_two_sensors_held_together_comes_out_within_a_tenth_of_a_millisecond(
    offset_s, seed, rates
):
    rng = np.random.default_rng(seed)
    first = twist(rng, rates[0], seed_motion=seed)
    second = twist(rng, rates[1], offset_s=offset_s, seed_motion=seed)
    found = sync_check(*first, *second)
    assert found.verdict is SyncVerdict.GOOD
    assert abs(found.offset_s - offset_s) < 0.0001


def test_the_stated_uncertainty_is_of_the_size_of_the_errors():
    ratios = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        found = sync_check(
            *twist(rng, 200, seed_motion=seed), *twist(rng, 200, offset_s=0.03, seed_motion=seed)
        )
        ratios.append((found.offset_s - 0.03) / found.u_s)
    assert 0.7 < float(np.std(ratios)) < 1.4


def test_sensors_that_did_not_turn_as_one_are_told_so():
    rng = np.random.default_rng(3)
    found = sync_check(*twist(rng, 200, seed_motion=1), *twist(rng, 200, seed_motion=2))
    assert found.verdict is SyncVerdict.NOT_HELD_TOGETHER
    assert not found.good
    assert "press them against each other" in found.text


def test_sensors_that_lay_still_are_told_to_move():
    rng = np.random.default_rng(4)
    still = [twist(rng, 200, size_dps=10.0) for _ in range(2)]
    assert sync_check(*still[0], *still[1]).verdict is SyncVerdict.TOO_LITTLE_MOTION


@pytest.mark.parametrize("seconds", [0.0, 0.02, 1.0])
def test_a_twist_that_was_too_short_is_told_so(seconds):
    rng = np.random.default_rng(5)
    short = [twist(rng, 200, seconds=seconds) for _ in range(2)]
    assert sync_check(*short[0], *short[1]).verdict is SyncVerdict.TOO_SHORT


def test_the_offset_is_what_is_added_to_the_second_sensor():
    rng = np.random.default_rng(6)
    first, late = twist(rng, 200), twist(rng, 200, offset_s=-0.02)
    found = sync_check(*first, *late)
    moved = sync_check(*first, late[0] + found.offset_s, late[1])
    assert moved.offset_s == pytest.approx(0.0, abs=1e-6)
