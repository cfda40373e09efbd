"""The moments of a swing, read off the filtered axial velocities and interpolated below a sample.

Velocities are the golfer's: rad/s, positive toward the target.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pieces import Cubics, spline_through
from analysis.samples import Array

PEAK_WITHIN_S = 0.12
"""The upper back's peak lies so near to the anchor of its window."""
PELVIS_BEFORE_S, PELVIS_AFTER_S = 0.45, 0.15
"""The pelvis's peak is looked for from so long before to so long after the upper back's."""
LONGEST_DOWN_S = 1.2
"""From a reversal to its peak speed."""
BACKSWING_S = 2.5
"""The turn away began at most so long before the reversal."""
ONSET_RATE = np.radians(7.0)
"""rad/s: the turn away has begun when its speed passes this for good. Sway at address stays below
4 deg/s; a turn that starts from rest passes it within about 40 ms."""
LONGEST_PAUSE_S = 0.1
"""A turn away slower than ONSET_RATE for longer than this had not yet begun."""
SLOPE_WITHIN_S = 0.03
"""The angular acceleration at a reversal is the mean over so much on either side."""
_NEWTON_STEPS = 3


@dataclass(frozen=True, slots=True)
class AxialCurve:
    """Axial velocity of a segment, rad/s, positive toward the target, at time_s (n,) s, filtered.

    pieces (4, n - 1): of the spline through the samples, as those of `Cubics`.
    """

    time_s: Array
    velocity: Array
    pieces: Array

    @classmethod
    def through(cls, time_s: Array, velocity: Array) -> AxialCurve:
        """Curve through samples, at least four."""
        return cls(time_s, velocity, spline_through(time_s, velocity[:, None]).pieces[:, 0])

    def rows(self, start_s: float, end_s: float) -> tuple[Array, Array, Array]:
        """Times, velocities and slopes at the samples from one time to just past another; the last
        sample, which has no piece of the spline, is left out."""
        first, last = self.time_s.searchsorted((start_s, end_s))
        rows = slice(int(first), min(int(last) + 1, self.time_s.size - 1))
        return self.time_s[rows], self.velocity[rows], self.pieces[2, rows]

    def at(self, time_s: float) -> tuple[float, float, float]:
        """Velocity, slope and second derivative at a time."""
        row = self._row(time_s)
        cubic, square, linear, constant = self.pieces[:, row].tolist()
        since = float(time_s) - float(self.time_s[row])
        value = ((cubic * since + square) * since + linear) * since + constant
        slope = (3.0 * cubic * since + 2.0 * square) * since + linear
        return value, slope, 6.0 * cubic * since + 2.0 * square

    def values(self, times: Array) -> Array:
        """Velocities (m,) at times (m,) s."""
        velocity: Array = Cubics(self.time_s, self.pieces[:, None]).at(times)[0]
        return velocity

    def angle(self, start_s: float, end_s: float) -> float:
        """Angle turned about the segment's own long axis between two times, rad."""
        first, last = self._row(start_s), self._row(end_s)
        # each piece from its sample to the next, the last one to the end, less what lies before
        rows = np.array([*range(first, last + 1), first])
        since = self.time_s.take(rows + 1) - self.time_s.take(rows)
        since[-2:] = end_s - self.time_s[last], start_s - self.time_s[first]
        cubic, square, linear, constant = self.pieces.take(rows, axis=1)
        angle = (cubic * since / 4.0 + square / 3.0) * since
        angle = ((angle + linear / 2.0) * since + constant) * since
        return float(angle[:-1].sum() - angle[-1])

    def _row(self, time_s: float) -> int:
        """Row of the sample whose piece holds a time; beyond the ends the outer pieces go on."""
        row = int(self.time_s.searchsorted(time_s, side="right")) - 1
        return min(max(row, 0), self.time_s.size - 2)


@dataclass(frozen=True, slots=True)
class Downswing:
    """A segment's reversal and peak speed.

    peak rad/s; reversal_slope rad/s^2, the mean angular acceleration around the reversal: where it
    is small the segment dwells, and the reversal is as uncertain as velocity noise over that slope.
    """

    reversal_s: float
    peak_s: float
    peak: float
    reversal_slope: float


def downswing(curve: AxialCurve, from_s: float, to_s: float) -> Downswing | None:
    """Reversal and peak of the fastest turn toward the target between two times, s.

    The reversal is the last crossing from away to toward before the peak. None where there is
    none within LONGEST_DOWN_S.
    """
    first, last = curve.time_s.searchsorted((from_s, to_s)).tolist()
    if last - first < 3:
        return None
    top = first + int(np.argmax(curve.velocity[first:last]))
    peak_s, peak = _peak(curve, top)
    start = int(curve.time_s.searchsorted(peak_s - LONGEST_DOWN_S))
    away = (curve.velocity[start:top] <= 0.0).nonzero()[0]
    if not away.size or peak <= 0.0:
        return None
    reversal_s = _crossing(curve, start + int(away[-1]))
    before_s = max(reversal_s - SLOPE_WITHIN_S, float(curve.time_s[0]))
    after_s = min(reversal_s + SLOPE_WITHIN_S, float(curve.time_s[-1]))
    slope = (curve.at(after_s)[0] - curve.at(before_s)[0]) / (after_s - before_s)
    return Downswing(reversal_s, peak_s, peak, slope)


def takeaway(curve: AxialCurve, reversal_s: float) -> float:
    """Onset of the turn away that ends in a reversal, s: its speed passes ONSET_RATE for good.

    The turn away may slow down for LONGEST_PAUSE_S. Where the data begin within it, their begin.
    """
    first, last = curve.time_s.searchsorted((reversal_s - BACKSWING_S, reversal_s)).tolist()
    time_s, away = curve.time_s[first:last], -curve.velocity[first:last]
    fastest = int(np.argmax(away)) if away.size else 0
    turning = (away[: fastest + 1] >= ONSET_RATE).nonzero()[0]
    if not turning.size:
        return float(time_s[fastest]) if away.size else reversal_s
    turning_s = time_s[turning]
    pauses = (turning_s[1:] - turning_s[:-1] > LONGEST_PAUSE_S).nonzero()[0]
    onset = int(turning[pauses[-1] + 1]) if pauses.size else int(turning[0])
    if onset == 0:
        return float(time_s[0])
    before, at = away[onset - 1], away[onset]
    share = (ONSET_RATE - before) / (at - before)
    return float(time_s[onset - 1] + share * (time_s[onset] - time_s[onset - 1]))


def _crossing(curve: AxialCurve, row: int) -> float:
    """Zero of the curve between a row that is not positive and the next that is."""
    left, right = float(curve.time_s[row]), float(curve.time_s[row + 1])
    low, high = float(curve.velocity[row]), float(curve.velocity[row + 1])
    at = left - low * (right - left) / (high - low)
    for _ in range(_NEWTON_STEPS):
        value, slope, _ = curve.at(at)
        if slope <= 0.0:
            break
        at = min(max(at - value / slope, left), right)
    return at


def _peak(curve: AxialCurve, row: int) -> tuple[float, float]:
    """Time and height of the spline's maximum next to a row that is the greatest around."""
    if row in (0, curve.time_s.size - 1):
        return float(curve.time_s[row]), float(curve.velocity[row])
    at = float(curve.time_s[row])
    left, right = float(curve.time_s[row - 1]), float(curve.time_s[row + 1])
    for _ in range(_NEWTON_STEPS):
        _, slope, bend = curve.at(at)
        if bend >= 0.0:
            break
        at = min(max(at - slope / bend, left), right)
    value, _, _ = curve.at(at)
    if value < curve.velocity[row]:
        return float(curve.time_s[row]), float(curve.velocity[row])
    return at, value
