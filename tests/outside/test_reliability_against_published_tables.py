"""Reliability against published worked examples.

Shrout PE, Fleiss JL. Psychol Bull 1979;86(2):420-428, tables 2 and 4: data, mean squares and the
six coefficients (from memory; the data and every figure agree with each other). The intervals
are those commonly reprinted for the same data (from memory).
Villarrasa-Sapina I et al. Sensors 2022;22(23):9069: SEM and MDC of side carry (read: abstract).
Sorbie GG et al. Int J Sports Sci Coach 2018: separation before and after practice (abstract).
Tinmark F, thesis 2007: limits of agreement of hand angular speed (read in the opening pages).
"""

from __future__ import annotations

import pytest

from analysis.agreement import limits_from_bias, limits_of_agreement
from analysis.intraclass import IccForm, intraclass_correlations, mean_squares
from analysis.reliability import (
    ErrorKind,
    measurement_error,
    minimal_detectable_change,
    standard_error_from_icc,
)

SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]


def test_shrout_and_fleiss_mean_squares():
    squares = mean_squares(SHROUT_FLEISS)
    assert squares.between == pytest.approx(11.24, abs=0.005)
    assert squares.within == pytest.approx(6.26, abs=0.005)
    assert squares.occasions == pytest.approx(32.49, abs=0.005)
    assert squares.residual == pytest.approx(1.02, abs=0.005)


@pytest.mark.parametrize(
    ("form", "value", "low", "high"),
    [
        (IccForm.ONE_SINGLE, 0.17, -0.133, 0.72),
        (IccForm.TWO_SINGLE, 0.29, 0.019, 0.76),
        (IccForm.THREE_SINGLE, 0.71, 0.342, 0.95),
        (IccForm.ONE_MEAN, 0.44, -0.884, 0.91),
        (IccForm.TWO_MEAN, 0.62, 0.071, 0.93),
        (IccForm.THREE_MEAN, 0.91, 0.676, 0.99),
    ],
)
def test_shrout_and_fleiss_coefficients(form, value, low, high):
    found = intraclass_correlations(SHROUT_FLEISS)[form]
    assert found.value == pytest.approx(value, abs=0.005)
    assert found.low == pytest.approx(low, abs=0.001)
    assert found.high == pytest.approx(high, abs=0.006)


def test_both_roads_to_the_standard_error_agree_on_the_published_table():
    """SD sqrt(1 - ICC) and the root of the mean square, from one table (Weir 2005)."""
    squares = mean_squares(SHROUT_FLEISS)
    consistent = intraclass_correlations(SHROUT_FLEISS)[IccForm.THREE_SINGLE].value
    golfers_sd = ((squares.between + 3 * squares.residual) / 4) ** 0.5
    assert standard_error_from_icc(golfers_sd, consistent) == pytest.approx(
        measurement_error(SHROUT_FLEISS, kind=ErrorKind.CONSISTENCY).sem
    )
    assert measurement_error(SHROUT_FLEISS).sem == pytest.approx(6.26**0.5, abs=0.001)


def test_published_standard_error_gives_the_published_detectable_change():
    assert minimal_detectable_change(12.05) == pytest.approx(33.41, abs=0.02)


def test_published_limits_of_agreement_come_back_from_their_bias_and_sd():
    assert limits_from_bias(-24.0, 76.9) == pytest.approx((-174.7, 126.7), abs=0.05)


def test_published_effect_of_a_practice_session_is_far_below_a_detectable_change():
    """1.24 degrees, 0.22 SD: even a reliability of 0.95 hides 0.62 SD in one golfer."""
    effect = (54.06 - 52.82) / 5.64
    assert effect == pytest.approx(0.22, abs=0.005)
    assert minimal_detectable_change(standard_error_from_icc(1.0, 0.95)) > 2.5 * effect


def test_limits_of_agreement_on_a_hand_worked_case():
    """Differences 1, 2, 3: bias 2, SD 1, limits 2 -+ 1.96."""
    limits = limits_of_agreement([10, 20, 30], [11, 22, 33])
    assert (limits.bias, limits.sd) == (2.0, 1.0)
    assert (limits.low, limits.high) == pytest.approx((0.04, 3.96), abs=0.001)
