"""Nominal 95 % intervals hold the truth in about 95 % of simulated cases (fixed seeds)."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.agreement import limits_of_agreement
from analysis.fatigue import least_squares, theil_sen
from analysis.intraclass import IccForm, intraclass_correlations
from analysis.reliability import (
    ErrorKind,
    measurement_error,
    minimal_detectable_change,
    session_to_session,
    within_session_sd,
)

RUNS = 2000
GOLFERS_SD, SHIFT_SD, ERROR_SD = 5.0, 1.5, 2.0


def retest(rng: np.random.Generator, golfers: int = 12, occasions: int = 4) -> np.ndarray:
    return (
        GOLFERS_SD * rng.standard_normal((golfers, 1))
        + SHIFT_SD * rng.standard_normal(occasions)
        + ERROR_SD * rng.standard_normal((golfers, occasions))
    )


def test_within_session_spread_of_unequal_sessions():
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(RUNS):
        found = within_session_sd([rng.normal(level, 3.0, 4 + level) for level in (1, 3, 8)])
        held += found.low <= 3.0 <= found.high
    assert 0.94 <= held / RUNS <= 0.96


def test_intraclass_coefficients():
    """Two-way truth for forms 2 and 3; without a shift of occasions for form 1."""
    rng = np.random.default_rng(2)
    golfers, shift, error = GOLFERS_SD**2, SHIFT_SD**2, ERROR_SD**2
    agreement = golfers / (golfers + shift + error)
    consistency = golfers / (golfers + error)
    truth = {
        IccForm.TWO_SINGLE: agreement,
        IccForm.THREE_SINGLE: consistency,
        IccForm.TWO_MEAN: 4 * agreement / (1 + 3 * agreement),
        IccForm.THREE_MEAN: 4 * consistency / (1 + 3 * consistency),
    }
    held = dict.fromkeys(truth, 0)
    one_way = 0
    for _ in range(RUNS):
        found = intraclass_correlations(retest(rng))
        for form, value in truth.items():
            held[form] += found[form].low <= value <= found[form].high
        plain = GOLFERS_SD * rng.standard_normal((12, 1)) + ERROR_SD * rng.standard_normal((12, 4))
        single = intraclass_correlations(plain)[IccForm.ONE_SINGLE]
        one_way += single.low <= consistency <= single.high
    assert 0.94 <= held[IccForm.THREE_SINGLE] / RUNS <= 0.96
    assert held[IccForm.THREE_MEAN] == held[IccForm.THREE_SINGLE]
    # Satterthwaite's approximation with three degrees of freedom between occasions.
    assert 0.92 <= held[IccForm.TWO_SINGLE] / RUNS <= 0.98
    assert held[IccForm.TWO_MEAN] == held[IccForm.TWO_SINGLE]
    assert 0.94 <= one_way / RUNS <= 0.96


def test_standard_error_of_measurement_leaves_out_the_shift_where_asked():
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(RUNS):
        found = measurement_error(retest(rng), kind=ErrorKind.CONSISTENCY)
        held += found.low <= ERROR_SD <= found.high
    assert 0.94 <= held / RUNS <= 0.96


def test_detectable_change_is_passed_by_one_in_twenty_unchanged_golfers():
    rng = np.random.default_rng(4)
    scores = ERROR_SD * rng.standard_normal((20000, 2))
    beyond = np.abs(scores[:, 1] - scores[:, 0]) > minimal_detectable_change(ERROR_SD)
    assert beyond.mean() == pytest.approx(0.05, abs=0.005)


def test_session_components_are_right_on_average():
    rng = np.random.default_rng(5)
    sizes = (6, 10, 15, 20, 9, 12)
    between, within = [], []
    for _ in range(RUNS):
        found = session_to_session(
            [rng.normal(2.0 * rng.standard_normal(), 3.0, size) for size in sizes]
        )
        between.append(found.between_sd**2)
        within.append(found.within.sd**2)
    assert np.mean(within) == pytest.approx(9.0, rel=0.02)
    assert np.mean(between) == pytest.approx(4.0, rel=0.06)


def test_slopes_of_a_drifting_session():
    rng = np.random.default_rng(6)
    at = np.cumsum(rng.uniform(20.0, 70.0, 25)) / 60.0
    straight = robust = robust_tailed = 0
    for _ in range(RUNS):
        line = 520.0 - 0.8 * at
        plain, tailed = line + rng.normal(0.0, 6.0, 25), line + 4.0 * rng.standard_t(3, 25)
        fit = least_squares(at, plain)
        straight += fit.low <= -0.8 <= fit.high
        fit = theil_sen(at, plain)
        robust += fit.low <= -0.8 <= fit.high
        fit = theil_sen(at, tailed)
        robust_tailed += fit.low <= -0.8 <= fit.high
    assert 0.94 <= straight / RUNS <= 0.96
    assert 0.94 <= robust / RUNS <= 0.965
    assert 0.94 <= robust_tailed / RUNS <= 0.965


def test_limits_of_agreement_bias_and_uncertainty():
    rng = np.random.default_rng(7)
    held, lows, stated = 0, [], []
    for _ in range(RUNS):
        truth = rng.normal(90.0, 8.0, 20)
        found = limits_of_agreement(truth, truth + rng.normal(0.5, 1.2, 20))
        held += found.bias_low <= 0.5 <= found.bias_high
        lows.append(found.low)
        stated.append(found.limit_u)
    assert 0.94 <= held / RUNS <= 0.96
    assert np.std(lows) == pytest.approx(np.mean(stated), rel=0.06)
