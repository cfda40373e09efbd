"""What errors do to the greatest value of a curve, to its time and to its gain on a start value.

To first order a smooth maximum moves up by the error there, and in time by -(slope of the error) /
bend. Beside that counts what first order cannot see: a slope wrongly known by u raises a maximum by
u^2 / (2 bend) (JCGM 100:2008, 5.1.2, note), and another maximum that is lower by less than its
difference is certain may be the true one, which moves the time by the whole distance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.samples import Array

SLOPE_STEPS = 10
"""Steps of the search to either side over which slope and bend are taken."""
EDGE_STEPS = 2
"""A greatest value so near to an end of the search is moved by that end."""
LEAST_BEND = 0.5
"""rad/s^2; a flatter curve has no time of its maximum."""
COVERED = 1.96
"""Standard uncertainties to either side of 95 %."""
LEAST_GAIN_U = np.radians(0.05)
"""rad: of a gain, however flat or steep the curve (own estimate: bridged samples, small sway)."""
SECOND_ORDER = math.sqrt(0.75)
"""Root mean square of the square of a normal error, halved."""


@dataclass(frozen=True, slots=True)
class SearchedCurve:
    """times (n,) s, evenly spaced; values (n,); effects (m, causes) at fixed times, on a coarser
    grid over the same stretch; ends: effects (causes,) on the times of the first and the last, s.
    """

    times: Array
    values: Array
    effects: Array
    ends: tuple[Array, Array]

    def at(self, row: int) -> Array:
        """Effects at the time of a row."""
        place = row * (self.effects.shape[0] - 1) / (self.times.size - 1)
        before = min(int(place), self.effects.shape[0] - 2)
        share = place - before
        found: Array = (1.0 - share) * self.effects[before] + share * self.effects[before + 1]
        return found


@dataclass(frozen=True, slots=True)
class GreatestEffects:
    """Effects (causes,) on the greatest value and on its time, s.

    rival_u: beside these, one standard uncertainty of the value's gain on a start value from
    maxima that may be the true one; rival_u_s: of the time, s.
    """

    value: Array
    time: Array
    rival_u: float
    rival_u_s: float


def greatest_effects(curve: SearchedCurve) -> GreatestEffects:
    """Effects on the greatest of a searched curve."""
    top = int(np.argmax(curve.values))
    value, time, second = _maximum(curve, top)
    gain_u, time_u_s = 0.0, 0.0
    for rival in _maxima(curve.values):
        if rival == top:
            continue
        lower = float(curve.values[top] - curve.values[rival])
        other, _, second_other = _maximum(curve, rival)
        apart_u = _length(value - other) + second_other
        if lower < COVERED * apart_u:
            away_s = abs(float(curve.times[top] - curve.times[rival]))
            # reached by an interval of 95 %
            time_u_s = max(time_u_s, 1.02 * away_s / COVERED)
            gain_u = max(gain_u, (COVERED * apart_u - lower) / COVERED)
    longest_s = float(curve.times[-1] - curve.times[0])
    size_s = _length(time)
    if size_s > longest_s / COVERED:
        time = time * (longest_s / COVERED / size_s)
    return GreatestEffects(value, time, math.hypot(second, gain_u, LEAST_GAIN_U), time_u_s)


def _maximum(curve: SearchedCurve, row: int) -> tuple[Array, Array, float]:
    """First-order effects on the value and the time of a maximum, and the uncertainty of the value
    of second order."""
    last = curve.values.size - 1
    slope, bend = _shape(curve, row)
    value, opening = curve.at(row), _opening(curve, row)
    second, slope_u = 0.0, _length(opening)
    if abs(slope) <= COVERED * slope_u:
        second = min(
            SECOND_ORDER * slope_u**2 / abs(bend), float(curve.values.max() - curve.values.min())
        )
    for end, moved in ((0, curve.ends[0]), (last, curve.ends[1])):
        if abs(row - end) <= EDGE_STEPS:
            return value + slope * moved, moved, second
    return value, np.asarray(opening / -bend), second


def _length(effects: Array) -> float:
    """Root of the sum of squares."""
    return math.sqrt(float(effects @ effects))


def _shape(curve: SearchedCurve, row: int) -> tuple[float, float]:
    """Slope and bend of the values around a row; the bend below zero."""
    low, high = _around(curve, row)
    middle = (low + high) // 2
    reach_s = 0.5 * float(curve.times[high] - curve.times[low])
    before, at, after = curve.values[[low, middle, high]]
    slope = float(after - before) / (2.0 * reach_s)
    return slope, min(float(before - 2.0 * at + after) / reach_s**2, -LEAST_BEND)


def _opening(curve: SearchedCurve, row: int) -> Array:
    """Effects on the slope around a row."""
    low, high = _around(curve, row)
    change = curve.at(high) - curve.at(low)
    return np.asarray(change / float(curve.times[high] - curve.times[low]))


def _around(curve: SearchedCurve, row: int) -> tuple[int, int]:
    last = curve.values.size - 1
    reach = min(SLOPE_STEPS, last // 2)
    middle = min(max(row, reach), last - reach)
    return middle - reach, middle + reach


def _maxima(values: Array) -> list[int]:
    """Rows of all maxima, ends included."""
    padded = np.concatenate(([-np.inf], values, [-np.inf]))
    higher = (values >= padded[:-2]) & (values > padded[2:])
    rows: list[int] = higher.nonzero()[0].tolist()
    return rows
