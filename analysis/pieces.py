"""Lines and cubics through samples, and what they enclose.

The cubics are scipy's, without checking anew what was checked with the samples: in a swing's window
that costs more than all that is read off them. Coefficients lie curve by curve in memory, so that
all curves of a segment are looked up at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.linalg import lapack

from analysis.samples import Array

FEWEST = 4
"""Samples that fix a spline whose outer two pieces at either end are one cubic (not-a-knot)."""


@dataclass(frozen=True, slots=True)
class Cubics:
    """k curves over the same n samples, cubic between neighbours.

    time_s (n,) s, increasing; pieces (4, k, n - 1): coefficients of the time since the sample
    before, that of the cube first. So the last two are values and slopes at the samples.
    """

    time_s: Array
    pieces: Array

    def at(self, times: Array) -> Array:
        """Values (k, m) at times (m,) s; beyond the ends the outer pieces go on."""
        (cubic, square, linear, value), since_s = self._near(times)
        cubic *= since_s
        cubic += square
        cubic *= since_s
        cubic += linear
        cubic *= since_s
        cubic += value
        return np.asarray(cubic)

    def slopes(self, times: Array) -> Array:
        """And their slopes (k, m), a second."""
        (cubic, square, linear, _), since_s = self._near(times)
        return np.asarray((3.0 * cubic * since_s + 2.0 * square) * since_s + linear)

    def _near(self, times: Array) -> tuple[Array, Array]:
        before = self.time_s.searchsorted(times, side="right") - 1
        before = np.minimum(np.maximum(before, 0), self.time_s.size - 2)
        return self.pieces.take(before, axis=2), times - self.time_s.take(before)


@dataclass(frozen=True, slots=True)
class Between:
    """Places of k times between samples, for values that are linear in between: the sample before
    and the share of the step after it, (..., k) each; level beyond the ends."""

    before: npt.NDArray[np.intp]
    share: Array

    @classmethod
    def of(cls, wanted_s: Array, time_s: Array) -> Between:
        """Places of times (k,) s between samples at time_s (n,) s, n >= 2."""
        before = time_s.searchsorted(wanted_s, side="right") - 1
        before = np.minimum(np.maximum(before, 0), time_s.size - 2)
        start_s = time_s[before]
        share = (wanted_s - start_s) / (time_s[before + 1] - start_s)
        return cls(before, np.minimum(np.maximum(share, 0.0), 1.0))

    def __call__(self, rows: Array) -> Array:
        """Rows (..., n) at the wanted times, (..., k)."""
        low = rows.take(self.before, axis=-1)
        found = rows.take(self.before + 1, axis=-1)
        found -= low
        found *= self.share
        found += low
        return found


def spline_through(time_s: Array, values: Array) -> Cubics:
    """`CubicSpline` through values (n, k) at time_s (n,), increasing; all finite."""
    if time_s.size < FEWEST:
        return Cubics(time_s, CubicSpline(time_s, values).c.transpose(0, 2, 1))
    planes = np.ascontiguousarray(values.T)
    step_s = time_s[1:] - time_s[:-1]
    chord = (planes[:, 1:] - planes[:, :-1]) / step_s
    return Cubics(time_s, _pieces(step_s, chord, planes, _slopes(step_s, chord)))


def hermite_through(time_s: Array, values: Array, slopes: Array) -> Cubics:
    """`CubicHermiteSpline` through values (n, k) with slopes (n, k) at time_s (n,), increasing."""
    planes, steepness = np.ascontiguousarray(values.T), np.ascontiguousarray(slopes.T)
    step_s = time_s[1:] - time_s[:-1]
    chord = (planes[:, 1:] - planes[:, :-1]) / step_s
    return Cubics(time_s, _pieces(step_s, chord, planes, steepness))


def cumulative(time_s: Array, rows: Array) -> Array:
    """Integral of rows (..., n) at time_s (n,) or (S, n) from the first sample on, trapezoids."""
    out = np.zeros(rows.shape)
    pieces = rows[..., 1:] + rows[..., :-1]
    pieces *= 0.5 * (time_s[..., 1:] - time_s[..., :-1])
    np.cumsum(pieces, axis=-1, out=out[..., 1:])
    return out


def _pieces(step_s: Array, chord: Array, values: Array, slopes: Array) -> Array:
    """Coefficients (4, k, n - 1) from values and slopes (k, n) and chords (k, n - 1)."""
    pieces = np.empty((4, *chord.shape))
    pieces[2], pieces[3] = slopes[:, :-1], values[:, :-1]
    twist = slopes[:, 1:] - chord
    twist -= chord - pieces[2]
    twist /= step_s
    np.divide(twist, step_s, out=pieces[0])
    np.subtract(chord, pieces[2], out=pieces[1])
    pieces[1] /= step_s
    pieces[1] -= twist
    return pieces


def _slopes(step_s: Array, chord: Array) -> Array:
    """Slopes (k, n) at the samples with which no second derivative jumps, nor a third one at the
    second and the last but one sample (de Boor, A Practical Guide to Splines, 1978)."""
    before_s, after_s = step_s[:-1], step_s[1:]
    right = np.empty((chord.shape[0], step_s.size + 1))
    np.multiply(chord[:, :-1], after_s, out=right[:, 1:-1])
    right[:, 1:-1] += chord[:, 1:] * before_s
    right[:, 1:-1] *= 3.0
    below, diagonal, above = np.empty_like(step_s), np.empty(step_s.size + 1), np.empty_like(step_s)
    below[:-1], above[1:] = after_s, before_s
    np.add(before_s, after_s, out=diagonal[1:-1])
    diagonal[1:-1] *= 2.0
    for end, inner, beside in ((0, 1, above), (-1, -2, below)):
        outer_s, inner_s = float(step_s[end]), float(step_s[inner])
        both_s = outer_s + inner_s
        diagonal[end], beside[end] = inner_s, both_s
        own, other = (outer_s + 2.0 * both_s) * inner_s / both_s, outer_s * outer_s / both_s
        right[:, end] = own * chord[:, end] + other * chord[:, inner]
    # memory by columns, as LAPACK wants it
    solved: Array = lapack.dgtsv(below, diagonal, above, right.T, 1, 1, 1, 1)[3]
    return solved.T
