"""Comparison of blocks, rank interval and drift against scipy.stats."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.block_location import has_strays, trimmed_location
from analysis.comparison import Block, Method, compare_blocks
from analysis.fatigue import least_squares, session_slope, theil_sen
from analysis.rank_interval import critical_rank, rank_shift


def two_blocks(before: int, after: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.normal(44.0, 2.0, before), rng.normal(47.0, 4.0, after)


@pytest.mark.parametrize(("before", "after"), [(5, 5), (7, 20), (31, 12)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_interval_without_shared_error_is_welchs(before, after, confidence):
    first, second = two_blocks(before, after, seed=before)
    assert not has_strays(first)
    assert not has_strays(second)
    found = compare_blocks(Block(first), Block(second), confidence=confidence)
    reference = stats.ttest_ind(second, first, equal_var=False)
    expected = reference.confidence_interval(confidence)
    assert found.method is Method.MEANS
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), rel=1e-10)
    assert found.dof == pytest.approx(reference.df)


@pytest.mark.parametrize(("before", "after"), [(8, 8), (11, 26), (40, 15)])
def test_interval_with_strays_is_yuens(before, after):
    first, second = two_blocks(before, after, seed=after)
    second[1] += 60.0
    found = compare_blocks(Block(first), Block(second))
    reference = stats.ttest_ind(second, first, equal_var=False, trim=0.2)
    expected = reference.confidence_interval(0.95)
    assert found.method is Method.TRIMMED_MEANS
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), rel=1e-10)
    assert trimmed_location(second).centre == pytest.approx(stats.trim_mean(second, 0.2))


@pytest.mark.parametrize(("before", "after"), [(4, 4), (5, 5), (5, 20), (9, 8), (30, 30)])
@pytest.mark.parametrize("alpha", [0.2, 0.05, 0.01])
def test_rank_interval_leaves_out_zero_just_when_the_exact_test_rejects(before, after, alpha):
    """The test's p-value at shifts a hair inside and outside of either bound (scipy, exact)."""
    first, second = two_blocks(before, after, seed=17 * before + after)
    found = rank_shift(first, second, confidence=1.0 - alpha)
    if found is None:
        separated = stats.mannwhitneyu(first, first.max() + 1.0 + np.arange(after), method="exact")
        assert separated.pvalue > alpha
        return
    for bound, outward in ((found.low, -1e-9), (found.high, 1e-9)):
        outside = stats.mannwhitneyu(second - bound - outward, first, method="exact").pvalue
        inside = stats.mannwhitneyu(second - bound + outward, first, method="exact").pvalue
        assert outside <= alpha + 1e-12
        assert inside > alpha + 1e-12


def test_rank_of_large_blocks_follows_the_normal_approximation():
    for before, after in ((31, 31), (40, 25), (80, 60)):
        rank = critical_rank(before, after, 0.05)
        counts = np.arange(before * after + 1)
        sd = np.sqrt(before * after * (before + after + 1) / 12.0)
        tail = 2.0 * stats.norm.cdf((counts + 0.5 - before * after / 2.0) / sd)
        assert rank == np.flatnonzero(tail <= 0.05)[-1]


@pytest.mark.parametrize("swings", [8, 10, 23, 60])
@pytest.mark.parametrize("ties", [False, True])
def test_robust_slope_and_interval_are_scipys(swings, ties):
    rng = np.random.default_rng(swings)
    at = np.sort(rng.uniform(0.0, 60.0, swings))
    values = 520.0 - 0.5 * at + rng.standard_t(3, swings) * 8.0
    if ties:
        at, values = np.round(at / 5.0), np.round(values / 5.0)
    found = theil_sen(at, values)
    expected = stats.theilslopes(values, at, alpha=0.95)
    assert found.slope == pytest.approx(expected.slope)
    assert (found.low, found.high) == pytest.approx((expected.low_slope, expected.high_slope))


@pytest.mark.parametrize("swings", [3, 10, 60])
def test_straight_line_slope_and_interval_are_scipys(swings):
    rng = np.random.default_rng(swings)
    at = np.arange(swings) * 0.7
    values = 520.0 - 0.5 * at + rng.normal(0.0, 8.0, swings)
    found = least_squares(at, values, confidence=0.9)
    expected = stats.linregress(at, values)
    reach = stats.t.ppf(0.95, swings - 2) * expected.stderr
    assert found.slope == pytest.approx(expected.slope)
    assert (found.high - found.low) / 2.0 == pytest.approx(reach)


def test_drift_of_a_textbook_series():
    """The example of Sen 1968: slope 4, 93 % interval 3.71 to 4.38 (data and figures from memory,
    and equal to scipy's)."""
    at, values = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    found = session_slope(values, at, confidence=0.93).theil_sen
    assert found is not None
    assert found.slope == pytest.approx(4.0)
    assert found.low == pytest.approx(3.71, abs=0.01)
    assert found.high == pytest.approx(4.38, abs=0.01)
    reference = stats.theilslopes(values, at, alpha=0.93)
    assert (found.low, found.high) == pytest.approx((reference.low_slope, reference.high_slope))
