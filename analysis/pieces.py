"""Cubics through samples: scipy's curves, without checking anew what was checked with the samples.

In a swing's window that building costs more than all that is read off the curves.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicHermiteSpline, CubicSpline
from scipy.linalg import solve_banded

from analysis.samples import Array

FEWEST = 4
"""Samples that fix a spline whose outer two pieces at either end are one cubic (not-a-knot)."""


def spline_through(time_s: Array, values: Array) -> CubicSpline:
    """`CubicSpline` through values (n, k) at time_s (n,), increasing; all finite."""
    if time_s.size < FEWEST:
        return CubicSpline(time_s, values)
    return CubicSpline.construct_fast(_pieces(time_s, values, _slopes(time_s, values)), time_s)


def hermite_through(time_s: Array, values: Array, slopes: Array) -> CubicHermiteSpline:
    """`CubicHermiteSpline` through values (n, k) with slopes (n, k) at time_s (n,), increasing."""
    return CubicHermiteSpline.construct_fast(_pieces(time_s, values, slopes), time_s)


def _pieces(time_s: Array, values: Array, slopes: Array) -> Array:
    """Coefficients (4, n - 1, k), of the cube first."""
    step_s = (time_s[1:] - time_s[:-1])[:, None]
    chord = (values[1:] - values[:-1]) / step_s
    twist = (slopes[:-1] + slopes[1:] - 2.0 * chord) / step_s
    pieces = np.empty((4, *chord.shape))
    np.divide(twist, step_s, out=pieces[0])
    np.subtract((chord - slopes[:-1]) / step_s, twist, out=pieces[1])
    pieces[2], pieces[3] = slopes[:-1], values[:-1]
    return pieces


def _slopes(time_s: Array, values: Array) -> Array:
    """Slopes (n, k) at the samples with which no second derivative jumps, nor a third one at the
    second and the last but one sample (de Boor, A Practical Guide to Splines, 1978)."""
    step_s = time_s[1:] - time_s[:-1]
    chord = (values[1:] - values[:-1]) / step_s[:, None]
    band, right = np.zeros((3, time_s.size)), np.empty_like(values)
    band[0, 2:], band[2, :-2] = step_s[:-1], step_s[1:]
    band[1, 1:-1] = 2.0 * (step_s[:-1] + step_s[1:])
    right[1:-1] = 3.0 * (step_s[1:, None] * chord[:-1] + step_s[:-1, None] * chord[1:])
    for end, inner, side in ((0, 1, 0), (-1, -2, 2)):
        outer_s, inner_s = step_s[end], step_s[inner]
        both_s = outer_s + inner_s
        band[1, end], band[side, inner] = inner_s, both_s
        right[end] = (
            (outer_s + 2.0 * both_s) * inner_s * chord[end] + outer_s**2 * chord[inner]
        ) / both_s
    return np.asarray(solve_banded((1, 1), band, right, overwrite_ab=True, overwrite_b=True))
