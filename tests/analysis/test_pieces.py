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
    for order in (0, 1, 2):
        scale = np.abs(theirs(between, order)).max()
        assert ours(between, order) == pytest.approx(theirs(between, order), abs=1e-12 * scale)


@pytest.mark.parametrize("n", [2, 3, 50])
def test_the_curve_with_given_slopes_is_scipys(n: int):
    time_s, values = uneven_samples(n)
    slopes = np.random.default_rng(1).normal(size=values.shape)
    ours, theirs = (
        build(time_s, values, slopes) for build in (hermite_through, CubicHermiteSpline)
    )
    between = np.linspace(time_s[0], time_s[-1], 7 * n)
    assert ours(between) == pytest.approx(theirs(between), abs=1e-12)


def test_a_spline_goes_through_its_samples():
    time_s, values = uneven_samples(30)
    assert spline_through(time_s, values)(time_s) == pytest.approx(values, abs=1e-12)
