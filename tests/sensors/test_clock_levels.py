"""Levels of the clock between two sensors over a simulated radio, against the truth.

Few runs and short ones; tests/benchmarks/clock_levels.py has the table, and there not every level
is met. After a sync check some pairs at intervals of 30 and 50 ms are off by 1 to 2.3 ms; the
sample count alone leaves 12 ms at 15 ms; two hours at 50 ppm end at 1.0 to 1.3 ms; where sampling
keeps step with the radio the error is up to tens of ms. In the last two the stated uncertainty
covers it too seldom. Errors hardly change within a run, so that coverage is a matter of pairs, not
of samples: it takes some dozens of them.
"""

from dataclasses import replace

import pytest

from tests.support.radio_pair import Scene, level

SCENE = Scene(interval_s=0.03, duration_s=50.0)
SEEDS = range(100, 106)


def test_with_ticks_two_sensors_agree_within_two_ms_after_half_a_minute():
    assert level(SCENE, SEEDS).p95_s < 0.002


def test_the_stated_uncertainty_covers_the_truth_of_two_dozen_pairs():
    assert level(replace(SCENE, duration_s=36.0), range(200, 224)).within >= 0.90


def test_with_the_sample_count_alone_they_agree_within_five_ms():
    assert level(replace(SCENE, ticks=False), SEEDS).p95_s < 0.005


@pytest.mark.parametrize("interval_s", [0.0075, 0.015])
def test_at_short_intervals_a_sync_check_brings_them_within_one_ms(interval_s):
    scene = replace(SCENE, interval_s=interval_s, sync_at_s=30.0, duration_s=60.0)
    assert level(scene, SEEDS).p95_s < 0.001


def test_where_packets_keep_step_with_the_radio_the_clock_does_not_claim_to_know():
    """One packet an event for good: nothing tells a short wait from a long one."""
    locked = Scene(
        interval_s=0.05, samples=10, ppm=0.0, locked=True, wander_ppm=0.0, duration_s=50.0
    )
    assert level(locked, SEEDS).median_u_s > 0.005
