"""Drift of a number in the course of a session."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.change_text import drift_sentence
from analysis.errors import SeriesError
from analysis.fatigue import Drift, session_slope
from analysis.serial_correlation import serial_correlation

FALLING = [560 - 2.0 * swing + (5, -3, 1, -4, 2)[swing % 5] for swing in range(20)]

tenths = st.integers(-900, 900).map(lambda value: value / 10.0)


def test_falling_speed_is_called_a_drift_with_its_size():
    found = session_slope(FALLING)
    assert found.verdict is Drift.SHOWN
    assert found.over_session == pytest.approx(-38.0, abs=3.0)
    assert drift_sentence(found, label="Pelvis peak", unit="°/s", decimals=0) == (
        "Pelvis peak: drifts down by about 38°/s from the first swing to the last."
    )


def test_one_wild_swing_moves_the_straight_line_but_not_the_robust_slope():
    wild = [*FALLING[:-1], 2000.0]
    found, plain = session_slope(wild), session_slope(FALLING)
    assert found.theil_sen.slope == pytest.approx(plain.theil_sen.slope, abs=0.2)
    assert abs(found.least_squares.slope - plain.least_squares.slope) > 10.0
    assert found.verdict is Drift.SHOWN


def test_steady_session_shows_no_drift():
    found = session_slope([500, 503, 498, 501, 499, 502, 500, 497, 503, 500, 501, 499])
    assert found.verdict is Drift.NOT_SHOWN
    assert "no drift shown over 12 swings" in drift_sentence(found, label="Peak", unit="°/s")


@pytest.mark.parametrize("swings", [0, 1, 2, 3, 9])
def test_fewer_than_ten_swings_carry_no_verdict(swings):
    found = session_slope(FALLING[:swings])
    assert found.verdict is Drift.TOO_FEW
    assert (found.theil_sen is None) == (swings < 3)
    assert "at least 10" in drift_sentence(found, label="Peak", unit="°/s")


def test_missing_swings_keep_their_place():
    gaps = [None if swing % 3 == 1 else value for swing, value in enumerate(FALLING)]
    found = session_slope(gaps)
    assert (found.n, found.left_out) == (13, 7)
    assert found.theil_sen.slope == pytest.approx(-2.0, abs=0.4)


def test_slope_is_per_unit_of_the_place_given():
    minutes = [swing * 0.5 for swing in range(20)]
    per_swing, per_minute = session_slope(FALLING), session_slope(FALLING, minutes)
    assert per_minute.theil_sen.slope == pytest.approx(2.0 * per_swing.theil_sen.slope)
    assert per_minute.over_session == pytest.approx(per_swing.over_session)


def test_allowing_for_alike_neighbours_widens_both_intervals():
    plain, wide = session_slope(FALLING), session_slope(FALLING, serial_correlation=0.5)
    for before, after in (
        (plain.theil_sen, wide.theil_sen),
        (plain.least_squares, wide.least_squares),
    ):
        assert after.slope == before.slope
        assert after.high - after.low > 1.3 * (before.high - before.low)


def test_series_that_wanders_has_alike_neighbours_and_an_alternating_one_has_not():
    wandering = np.cumsum(np.random.default_rng(1).standard_normal(60))
    assert serial_correlation([wandering]).evident
    assert not serial_correlation([[1.0, -1.0] * 10]).evident
    assert serial_correlation([[1.0, 2.0, None, 3.0]]) is None
    assert serial_correlation([[5.0] * 20]) is None


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6])
def test_correlation_of_neighbours_is_right_on_average(correlation):
    rng = np.random.default_rng(3)
    found = []
    for _ in range(400):
        block = rng.standard_normal(20)
        for swing in range(1, 20):
            fresh = math.sqrt(1.0 - correlation**2) * block[swing]
            block[swing] = correlation * block[swing - 1] + fresh
        found.append(serial_correlation([block]).value)
    assert np.mean(found) == pytest.approx(correlation, abs=0.07)


@pytest.mark.parametrize(
    ("values", "at", "words"),
    [
        ([1, 2, 3], [1, 2], "one place a swing"),
        ([1, 2, 3], [1, None, 3], "needs its place"),
        ([1, 2, 3], [1, 3, 2], "swing 3"),
        ([1, 2, 3], [4, 4, 4], "same place"),
        ([1, math.inf, 3], None, "value 2 is infinite"),
    ],
)
def test_places_and_values_that_make_no_line_are_refused(values, at, words):
    with pytest.raises(SeriesError, match=words):
        session_slope(values, at)


@given(st.lists(tenths, min_size=3, max_size=25), tenths, tenths)
def test_adding_a_line_adds_its_slope(values, slope, level):
    plain = session_slope(values)
    tilted = session_slope(
        [value + level + slope * swing for swing, value in enumerate(values, start=1)]
    )
    for before, after in (
        (plain.theil_sen, tilted.theil_sen),
        (plain.least_squares, tilted.least_squares),
    ):
        assert after.slope == pytest.approx(before.slope + slope, abs=1e-6)


@given(st.lists(tenths, min_size=3, max_size=25))
def test_the_same_session_upside_down_drifts_the_other_way(values):
    plain, turned = session_slope(values), session_slope([-value for value in values])
    assert turned.verdict is plain.verdict
    assert turned.theil_sen.slope == -plain.theil_sen.slope
    assert turned.least_squares.low == pytest.approx(-plain.least_squares.high, abs=1e-9)
    assert plain.theil_sen.low <= plain.theil_sen.slope <= plain.theil_sen.high
