"""Levels of the clock between two sensors over a simulated radio, against the truth.

Few runs and short ones; tests/benchmarks/clock_levels.py has the table, and there not every level
is met. After a sync check at 30 s, pairs at intervals of 30 and 50 ms whose sampling nearly keeps
step with the radio drift off by up to 3.4 ms; the sample count at 50 ms leaves 5.03 ms; where
sampling keeps step the error is up to the connection interval, and the uncertainty says so. Errors
hardly change within a run, so that coverage is a matter of pairs: it takes some dozens of them.
"""

from dataclasses import replace

import pytest

from tests.support.radio_pair import Scene, level

SCENE = Scene(interval_s=0.03, duration_s=50.0)
SEEDS = range(80_100, 80_106)
IN_STEP = replace(SCENE, locked=True, duration_s=40.0)


def test_with_ticks_two_sensors_agree_within_two_ms_after_half_a_minute():
    assert level(SCENE, SEEDS).p95_s < 0.002


def test_the_stated_uncertainty_covers_the_truth_of_two_dozen_pairs():
    assert level(replace(SCENE, duration_s=36.0), range(80_200, 80_224)).within >= 0.92


def test_with_the_sample_count_alone_they_agree_within_five_ms():
    assert level(replace(SCENE, ticks=False), SEEDS).p95_s < 0.005


@pytest.mark.parametrize("interval_s", [0.0075, 0.015, 0.03])
def test_a_sync_check_brings_them_within_one_ms(interval_s):
    scene = replace(SCENE, interval_s=interval_s, sync_at_s=30.0, duration_s=60.0)
    assert level(scene, SEEDS).p95_s < 0.001


def test_after_a_sync_check_they_stay_within_one_ms_at_fifty_ppm():
    scene = replace(SCENE, ppm=50.0, sync_at_s=60.0, duration_s=500.0)
    found = level(scene, range(80_300, 80_301))
    assert found.p95_s < 0.001
    assert found.within >= 0.92


def test_where_sampling_keeps_step_with_the_radio_the_uncertainty_says_what_is_hidden():
    found = level(IN_STEP, range(80_400, 80_412))
    assert found.within >= 0.9
    assert found.median_u_s > 0.002


@pytest.mark.xfail(
    strict=True,
    reason="one packet an event for good: nothing tells a short wait from a long one",
)
def test_where_every_packet_meets_the_same_place_of_the_interval_two_ms_are_kept():
    scene = replace(IN_STEP, interval_s=0.05, samples=10, ppm=0.0, wander_ppm=0.0)
    assert level(scene, SEEDS).p95_s < 0.002
