"""Means over the steps of a gyro that averages, brought to the rates at its time stamps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis import rotation
from analysis.averaging import at_stamps
from analysis.blocks import joined
from analysis.orientation import segment_motion
from analysis.results import Mounting
from analysis.samples import RateSample, SampleTable
from tests.support.moving_segment import swing
from tests.support.range_sessions import found, range_session

AS_WORN = Mounting(rotation.IDENTITY)
STEP_S = 0.005
MEAN = RateSample.MEAN
INSIDE = 200
"""Parts of a step over which a sensor's mean is taken here."""


def means(rate, time_s, step_s=STEP_S):
    """Mean of rate (a function of times) over the step that ends at each time."""
    parts = (np.arange(INSIDE) + 0.5) / INSIDE - 1.0
    return np.mean([rate(time_s + part * step_s) for part in parts], axis=0)


def averaging(time_s):
    """Samples of a segment in a swing by a sensor that averages, and the segment, in its axes."""
    segment, _, _ = swing(quiet_s=4.0)
    samples = segment.samples(time_s)
    return SampleTable(time_s, means(segment.rate, time_s), samples.accel, 0.0, MEAN), segment


def cubic(time_s):
    powers = np.stack([time_s**k for k in range(4)], axis=-1)
    return powers @ np.array(
        [[1.0, -2.0, 0.5], [3.0, 1.0, 0.0], [-2.0, 0.4, 7.0], [5.0, -8.0, 1.0]]
    )


def test_rates_that_change_as_a_cubic_come_back_as_they_were():
    time_s = np.arange(40) * 0.1
    # of the mean over parts a sum in place of the integral is left, some 1e-6 of the bend
    found = at_stamps(time_s, means(cubic, time_s, 0.1))
    assert found[1:-2] == pytest.approx(cubic(time_s)[1:-2], abs=1e-4)


def test_over_uneven_steps_a_rate_that_changes_evenly_comes_back():
    rng = np.random.default_rng(1)
    time_s = np.cumsum(rng.uniform(0.8, 1.2, 100)) * STEP_S
    slope = np.array([30.0, -80.0, 5.0])
    middle_s = time_s - 0.5 * np.diff(time_s, prepend=time_s[0] - STEP_S)
    found = at_stamps(time_s, np.outer(middle_s, slope))
    # how long the step before the first sample was cannot be known
    assert found[2:] == pytest.approx(np.outer(time_s, slope)[2:], abs=1e-9)


def test_noise_does_not_grow():
    noise = np.random.default_rng(2).standard_normal((5000, 3))
    assert at_stamps(np.arange(5000) * STEP_S, noise).std() < 0.85


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4])
def test_a_steady_rate_stays_however_few_its_samples(count):
    steady = np.tile([1.0, -2.0, 3.0], (count, 1))
    assert at_stamps(np.arange(count) * STEP_S, steady) == pytest.approx(steady)


def test_the_segment_is_where_it_is_and_turns_as_fast_as_it_does():
    samples, segment = averaging(np.arange(0.0, 7.8, STEP_S))
    motion = segment_motion(samples, AS_WORN)
    truth = segment.rate(samples.time_s)
    assert np.degrees(np.abs(motion.angular_velocity - truth)).max() < 2.0
    taken_for_instants = SampleTable(samples.time_s, samples.gyro, samples.accel)
    late = segment_motion(taken_for_instants, AS_WORN)
    assert np.degrees(np.abs(late.angular_velocity - truth)).max() > 5.0
    angles = np.degrees(rotation.cardan_yxz(motion.orientation))
    true_angles = np.degrees(rotation.cardan_yxz(segment.orientation(samples.time_s)))
    assert np.abs(angles - true_angles).max() < 0.05


def test_a_hole_in_the_downswing_is_bridged_from_both_sides():
    """The first mean after a hole is of its own step alone, not of the hole."""
    time_s = np.arange(0.0, 7.8, STEP_S)
    time_s = time_s[(time_s < 5.1) | (time_s > 5.14)]
    samples, segment = averaging(time_s)
    motion = segment_motion(samples, AS_WORN)
    turned = rotation.cardan_yxz(motion.orientation)[-1, 0]
    true = rotation.cardan_yxz(segment.orientation(time_s))[-1, 0]
    assert np.degrees(turned) == pytest.approx(np.degrees(true), abs=0.6)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0])
def test_sensors_that_average_agree_with_the_truth_as_others_do(rate_hz):
    """Untold, every time read off the velocity is half a sample late."""
    session = range_session(35, 8, rate_hz=rate_hz, averages=True)
    untold = replace(
        session,
        pelvis=replace(session.pelvis, rate_sample=RateSample.INSTANT),
        upper_back=replace(session.upper_back, rate_sample=RateSample.INSTANT),
    )
    told, late = found(session, session.analysed()), found(untold, untold.analysed())
    assert len(told.pairs) == len(late.pairs) == 8
    for column in ("pelvis_reversal_s", "upper_back_peak_s", "pelvis_peak_s", "top_s"):
        assert abs(told.errors(column).mean()) < 0.001, column
        assert late.errors(column).mean() == pytest.approx(0.5 / rate_hz, abs=0.001), column
    for column in ("pelvis_peak_dps", "upper_back_peak_dps"):
        assert np.abs(told.errors(column) / told.true(column)).max() < 0.0055, column


def test_parts_of_a_table_are_of_its_kind_and_a_joined_one_of_that_of_its_last():
    mean, _ = averaging(np.arange(0.0, 1.0, STEP_S))
    instants = SampleTable(mean.time_s + 1.0, mean.gyro, mean.accel)
    assert mean.between(0.2, 0.4).rate_sample is mean.rows(3, 7).rate_sample is MEAN
    assert joined([mean.rows(0, 5), mean.rows(5, 9)]).rate_sample is MEAN
    assert joined([mean, instants]).rate_sample is RateSample.INSTANT
    assert joined([mean, instants.rows(0, 0)]).rate_sample is MEAN
