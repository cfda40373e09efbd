"""What every cause of error does to the numbers read from one segment's curves.

A curve that is off by d at an event moves the event by -d / slope: for a reversal -dv / a with a
the angular acceleration, which is small where a segment dwells; for a peak -dv' / v''.
"""

from __future__ import annotations

import numpy as np

from analysis.error_causes import NOISE, TOTAL, Mixing
from analysis.events import AxialCurve, Downswing
from analysis.filtering import CUTOFF_HZ
from analysis.kinematics import SegmentPath
from analysis.samples import Array
from analysis.segment_effects import CAUSES, CLOCK, RIDE, SLOPE_S, SegmentEffects

NOISES_EACH = 8
"""Readings with noise of their own, at most, of a segment."""
LEAST_BEND_SHARE = 0.5
"""A peak is at least so sharp without its ride as with it."""

ONSET_BEFORE_S, ONSET_AFTER_S = 0.06, 0.03
"""An onset is looked for so near to where it was read."""


class SegmentReading:
    """A segment's curves, what causes do to them, and its downswing.

    number: 0 for the pelvis, 1 for the upper back. noise_density rad/s/sqrt(Hz), one-sided. Effects
    are rows (TOTAL,), one standard uncertainty of each independent cause.
    """

    def __init__(
        self,
        number: int,
        path: SegmentPath,
        down: Downswing,
        *,
        effects: SegmentEffects,
        mixed: Mixing,
        noise_density: float,
    ) -> None:
        self.path, self.down = path, down
        self.effects, self.mixed = effects, mixed
        self.curve: AxialCurve = path.rates.axial
        self._noise, self._next = noise_density, NOISE + NOISES_EACH * number

    def noise(self, *, order: int = 0) -> Array:
        """A cause of its own: the white noise that the filter lets through, of the axial velocity
        (order 0) or of its slope (order 1)."""
        row = np.zeros(TOTAL)
        band = (2.0 * np.pi * CUTOFF_HZ) ** order * np.sqrt(CUTOFF_HZ / (2.0 * order + 1.0))
        row[self._next] = self._noise * band
        self._next += 1
        return row

    def late(self) -> Array:
        """Effects on any time read off this sensor's stamps alone, s: those of its clock."""
        return self.mixed(np.eye(CAUSES)[CLOCK])

    def axial(self, time_s: float) -> Array:
        """Effects on the axial velocity at a time, rad/s."""
        return self.mixed(self.effects.at(self.effects.axial, time_s))

    def axial_slope(self, time_s: float) -> Array:
        """And on its slope, rad/s^2."""
        return self.mixed(self.effects.slope(self.effects.axial, time_s))

    def crossing(self, time_s: float, slope: float) -> Array:
        """Effects on when the velocity passes the value that it has at `time_s`, s."""
        return -(self.axial(time_s) + self.noise()) / slope

    def onset(self, time_s: float, slope: float) -> Array:
        """Effects on when a turn from rest passes the speed that it has at `time_s`, s.

        A speed that rises from nothing is far from straight: for a ride the passing is looked up
        on the curve without it.
        """
        moved = -self.effects.at(self.effects.axial, time_s) / slope
        near = (time_s - ONSET_BEFORE_S, time_s + ONSET_AFTER_S)
        first, last = np.searchsorted(self.effects.time_s, near)
        times = self.effects.time_s[first:last]
        level, _, _ = self.curve.at(time_s)
        over = np.asarray(self.curve.spline(times))[:, None] - level
        over = over - self.effects.axial[first:last, RIDE]
        for ride in range(over.shape[1]):
            passed = np.flatnonzero(over[:-1, ride] > 0.0)
            if passed.size:
                row = passed[-1]
                before, after = over[row : row + 2, ride]
                share = before / (before - after) if after < before else 0.0
                moved[RIDE.start + ride] = (
                    time_s - times[row] - share * (times[row + 1] - times[row])
                )
        return np.asarray(self.mixed(moved) - self.noise() / slope)

    def reversal(self) -> Array:
        """Effects on the time of the reversal, s."""
        return self.crossing(self.down.reversal_s, max(self.down.reversal_slope, 1e-3))

    def peak_time(self) -> Array:
        """Effects on the time of the peak speed, s.

        Riding sharpens a peak by a quarter, so its effect is taken on the peak without it.
        """
        at, axial = self.down.peak_s, self.effects.axial
        sharp = bend(self.curve, at)
        bends = np.full(axial.shape[1], sharp)
        bends[RIDE] -= self.effects.bend(axial, at)[RIDE]
        bends = np.minimum(bends, LEAST_BEND_SHARE * sharp)
        moved = self.mixed(-self.effects.slope(axial, at) / bends)
        return np.asarray(moved - self.noise(order=1) / sharp)

    def peak(self) -> Array:
        """Effects on the peak speed, rad/s."""
        return self.axial(self.down.peak_s) + self.noise()

    def runway(self, peak_time: Array) -> Array:
        """Effects on the angle from the reversal to the peak, rad."""
        at, angle = self.effects.at, self.effects.angle
        turned = at(angle, self.down.peak_s) - at(angle, self.down.reversal_s)
        return self.mixed(turned) + self.down.peak * peak_time

    def posture(self, time_s: float) -> Array:
        """Effects (3, TOTAL) on turn, obliquity and forward tilt at a fixed time, rad."""
        return self.mixed(self.effects.posture(time_s))

    def turn(self, times: Array) -> Array:
        """Effects (k, TOTAL) on the turn since address at fixed times (k,), rad."""
        return self.mixed(self.effects.along(self.effects.turn, times))

    def turned(self, times: Array, about: Array) -> Array:
        """Effects (k, TOTAL) on the orientation at fixed times (k,), rad, about directions (k, 3)
        in world axes."""
        turned = self.effects.along(self.effects.turned, times)
        return self.mixed(np.einsum("kj,kjc->kc", about, turned))

    def turn_rate(self, time_s: float) -> Array:
        """Effects on the rate of turn, rad/s."""
        return self.mixed(self.effects.slope(self.effects.turn, time_s))


def bend(curve: AxialCurve, at_s: float) -> float:
    """Second derivative of an axial velocity around its peak, rad/s^3, below zero."""
    change = curve.at(at_s + SLOPE_S)[1] - curve.at(at_s - SLOPE_S)[1]
    return min(change / (2.0 * SLOPE_S), -1.0)


def power_peak_s(curve: AxialCurve, down: Downswing) -> float:
    """When acceleration times velocity is greatest in a downswing, s."""
    time_s, velocity, slope = curve.rows(down.reversal_s, down.peak_s)
    return float(time_s[np.argmax(slope * velocity)])
