"""Spread within and between sessions, intraclass coefficients, error of measurement."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.agreement import limits_of_agreement
from analysis.errors import SeriesError
from analysis.intraclass import IccForm, intraclass_correlations, mean_squares, stepped_up
from analysis.reliability import (
    ErrorKind,
    measurement_error,
    minimal_detectable_change,
    session_to_session,
    standard_error_from_icc,
    within_session_sd,
)

tenths = st.integers(-2000, 2000).map(lambda value: value / 10.0)
tables = st.integers(2, 4).flatmap(
    lambda occasions: st.lists(
        st.lists(tenths, min_size=occasions, max_size=occasions), min_size=3, max_size=8
    )
)


def with_spread(table: list[list[float]]) -> np.ndarray:
    scores = np.array(table)
    assume(scores.mean(axis=1).std() > 0.5)
    assume((scores - scores.mean(axis=1, keepdims=True)).std() > 0.5)
    residual = scores - scores.mean(axis=1, keepdims=True) - scores.mean(axis=0)
    assume((residual - residual.mean()).std() > 0.1)
    return scores


def test_spread_within_sessions_does_not_see_the_level_of_a_session():
    found = within_session_sd([[10, 12, 14], [110, 112, 114]])
    assert (found.sd, found.dof, found.n, found.mean) == (2.0, 4, 6, 62.0)


def test_missing_swings_are_left_out_and_counted():
    found = within_session_sd([[10, None, 12, 14], [math.nan, 110, 112, 114], [None]])
    assert (found.sd, found.n, found.left_out) == (2.0, 6, 3)


def test_session_of_one_swing_adds_no_spread():
    assert within_session_sd([[10, 12, 14], [50]]).dof == 2


def test_coefficient_of_variation_needs_a_mean():
    assert within_session_sd([[-1, 1]]).coefficient_of_variation_pct is None
    assert within_session_sd([[9, 11]]).coefficient_of_variation_pct == pytest.approx(14.142, 1e-4)


def test_sessions_alike_but_for_their_swings_have_no_spread_of_their_own():
    found = session_to_session([[1, 5, 3], [2, 4, 3], [5, 1, 3]])
    assert found.between_sd == 0.0
    assert found.standard_error_of_mean(4) == found.within.sd / 2.0


def test_hand_worked_session_components():
    """Means 10, 20 of two swings each, SD within sqrt(2): MS 100 and 2, (100 - 2) / 2 = 49."""
    found = session_to_session([[9, 11], [19, 21]])
    assert found.within.sd == pytest.approx(math.sqrt(2.0))
    assert found.between_sd == pytest.approx(7.0)
    assert found.swings == 2.0


def test_hand_worked_session_components_of_unequal_sessions():
    """2 and 4 swings, means 10 and 20: MS 400/3 and 6/4, n0 = 6 - 20/6 = 8/3."""
    found = session_to_session([[9, 11], [19, 21, 19, 21]])
    assert found.within.sd == pytest.approx(math.sqrt(1.5))
    assert found.swings == pytest.approx(8.0 / 3.0)
    assert found.between_sd == pytest.approx(math.sqrt((400.0 / 3.0 - 1.5) * 3.0 / 8.0))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: within_session_sd([]), "at least one session with 2 swings"),
        (lambda: within_session_sd([[1.0], [None]]), "at least one session with 2 swings"),
        (lambda: within_session_sd([[1.0, math.inf]]), "session 1: value 2 is infinite"),
        (lambda: within_session_sd([[1.0, 2.0], ["3", 4.0]]), "session 2: expected numbers"),
        (lambda: within_session_sd([[1.0, 2.0]], confidence=95), "between 0 and 1"),
        (lambda: within_session_sd([[[1.0, 2.0], [3.0, 4.0]]]), "flat list"),
        (lambda: session_to_session([[1.0, 2.0], [None]]), "at least 2 with swings, received 1"),
        (lambda: session_to_session([[1.0, 2.0], [3.0]]).standard_error_of_mean(0), "1 or more"),
        (lambda: mean_squares([]), "at least 3 golfers"),
        (lambda: mean_squares([[1, 2], [3, 4], [5, None]]), "received 2 complete rows"),
        (lambda: mean_squares([[1, 2], [3, 4], [5]]), "rows of equal length"),
        (lambda: mean_squares([[0.1, 0.1]] * 3), "all golfers score the same"),
        (lambda: standard_error_from_icc(1.0, 1.01), "at most 1"),
        (lambda: standard_error_from_icc(1.0, math.nan), "at most 1"),
        (lambda: standard_error_from_icc(-1.0, 0.5), "0 or more"),
        (lambda: minimal_detectable_change(math.inf), "0 or more"),
        (lambda: minimal_detectable_change(1.0, confidence=1.0), "between 0 and 1"),
        (lambda: limits_of_agreement([1, 2], [1]), "equal lengths"),
        (lambda: limits_of_agreement([1, None], [1, 2]), "at least 2 complete"),
        (lambda: limits_of_agreement([1, 2], [1, 2], share=2.0), "between 0 and 1"),
    ],
)
def test_what_cannot_be_computed_is_said(call, words):
    with pytest.raises(SeriesError, match=words):
        call()


def test_golfer_with_a_missed_occasion_is_left_out_whole():
    whole = [[1, 2], [3, 5], [6, 5]]
    gap = [[1, 2], [9, None], [3, 5], [6, 5]]
    assert mean_squares(gap).left_out == 1
    assert intraclass_correlations(gap) == intraclass_correlations(whole)


def test_perfect_repeat_is_a_coefficient_of_one_and_no_error():
    found = intraclass_correlations([[1, 1], [2, 2], [4, 4]])
    assert {(icc.value, icc.low, icc.high) for icc in found.values()} == {(1.0, 1.0, 1.0)}
    assert measurement_error([[1, 1], [2, 2], [4, 4]]).mdc == 0.0


def test_shift_between_occasions_counts_for_agreement_only():
    scores = [[10, 13], [20, 23], [40, 43]]
    assert measurement_error(scores, kind=ErrorKind.CONSISTENCY).sem == 0.0
    assert measurement_error(scores).sem == pytest.approx(3.0 / math.sqrt(2.0))


def test_golfers_alike_in_the_mean_have_a_coefficient_below_zero():
    found = intraclass_correlations([[1, 2], [2, 1], [1.5, 1.5]])
    assert found[IccForm.ONE_SINGLE].value == -1.0
    assert found[IccForm.ONE_MEAN].value == -math.inf
    assert stepped_up(0.5, 2) == pytest.approx(2.0 / 3.0)


@given(tables, tenths, st.sampled_from([0.5, 2.0, -4.0]))
def test_coefficients_know_neither_unit_nor_zero(table, shift, scale):
    scores = with_spread(table)
    plain, moved = intraclass_correlations(scores), intraclass_correlations(scale * scores + shift)
    for form in IccForm:
        assert moved[form].value == pytest.approx(plain[form].value, rel=1e-6, abs=1e-6)
        assert moved[form].low == pytest.approx(plain[form].low, rel=1e-5, abs=1e-5)


@given(tables)
def test_bounds_enclose_the_coefficient(table):
    for icc in intraclass_correlations(with_spread(table)).values():
        assert icc.low <= icc.value <= icc.high <= 1.0


@given(tables, st.randoms(use_true_random=False))
def test_order_of_golfers_and_occasions_does_not_matter(table, random):
    scores = with_spread(table)
    golfers, occasions = list(range(scores.shape[0])), list(range(scores.shape[1]))
    random.shuffle(golfers)
    random.shuffle(occasions)
    plain, moved = mean_squares(scores), mean_squares(scores[golfers][:, occasions])
    for name in ("between", "within", "occasions", "residual", "sd"):
        assert getattr(moved, name) == pytest.approx(getattr(plain, name), rel=1e-7, abs=1e-7)


@given(tables)
def test_error_of_measurement_scales_with_the_unit(table):
    scores = with_spread(table)
    for kind in ErrorKind:
        plain, scaled = (
            measurement_error(scores, kind=kind),
            measurement_error(3 * scores, kind=kind),
        )
        assert scaled.sem == pytest.approx(3 * plain.sem)
        assert scaled.mdc == pytest.approx(minimal_detectable_change(scaled.sem))
        assert plain.low <= plain.sem <= plain.high


@given(st.lists(st.lists(tenths, min_size=2, max_size=6), min_size=2, max_size=5), tenths)
def test_session_components_do_not_see_the_golfers_level(sessions, shift):
    plain = session_to_session(sessions)
    assume(plain.within.sd > 0.1)
    moved = session_to_session([[value + shift for value in session] for session in sessions])
    assert moved.within.sd == pytest.approx(plain.within.sd, rel=1e-6)
    assert moved.between_sd == pytest.approx(plain.between_sd, rel=1e-6, abs=1e-3)
    assert plain.standard_error_of_mean(100) >= plain.between_sd
