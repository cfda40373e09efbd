"""Cubics through samples: the same curves as those of scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline, CubicSpline

from analysis.pieces import hermite_through, spline_through


def uneven_samples(n: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(n)
    return np.cumsum(rng.uniform(0.003, 0.007, n)), rng.normal(size=(n, 3))


@pytest.mark.parametrize("n", [2, 3, 4, 5, 50])
def test_the_spline_is_scipys(n: int):
    time_s, values = uneven_samples(n)
    ours, theirs = spline_through(time_s, values), CubicSpline(time_s, values)
    between = np.linspace(time_s[0], time_s[-1], 7 * n)
    for order, found in enumerate((ours.at(between), ours.slopes(between))):
        expected = theirs(between, order).T
        assert found == pytest.approx(expected, abs=1e-12 * np.abs(expected).max())


@pytest.mark.parametrize("n", [2, 3, 50])
def test_the_curve_with_given_slopes_is_scipys(n: int):
    time_s, values = uneven_samples(n)
    slopes = np.random.default_rng(1).normal(size=values.shape)
    ours, theirs = (
        build(time_s, values, slopes) for build in (hermite_through, CubicHermiteSpline)
    )
    between = np.linspace(time_s[0], time_s[-1], 7 * n)
    assert ours.at(between) == pytest.approx(theirs(between).T, abs=1e-12)


def test_a_spline_goes_through_its_samples():
    time_s, values = uneven_samples(30)
    assert spline_through(time_s, values).at(time_s) == pytest.approx(values.T, abs=1e-12)
