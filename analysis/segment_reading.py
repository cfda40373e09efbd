"""What every cause of error does to the numbers read from one segment's curves.

A curve that is off by d at an event moves the event by -d / slope: for a reversal -dv / a with a
the angular acceleration, which is small where a segment dwells; for a peak -dv' / v''.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.error_causes import NOISE, TOTAL
from analysis.events import AxialCurve, Downswing
from analysis.filtering import CUTOFF_HZ
from analysis.moment_effects import SLOPE_S, Moment, MomentEffects
from analysis.samples import Array
from analysis.segment_effects import CAUSES, CLOCK, RIDE, SLEW

NOISES_EACH = 8
"""Readings with noise of their own, at most, of a segment."""
LEAST_BEND_SHARE = 0.5
"""A peak is at least so sharp without its ride as with it."""


class SegmentReading:
    """A segment's axial velocity, what causes do to it, and its downswing.

    number: 0 for the pelvis, 1 for the upper back. effects: on both segments. noise_density
    rad/s/sqrt(Hz), one-sided. Effects are rows (TOTAL,), one standard uncertainty of each
    independent cause.
    """

    def __init__(
        self,
        number: int,
        curve: AxialCurve,
        down: Downswing,
        *,
        effects: MomentEffects,
        noise_density: float,
    ) -> None:
        self.number, self.curve, self.down, self.effects = number, curve, down, effects
        self._noise, self._next = noise_density, NOISE + NOISES_EACH * number

    def noise(self, *, order: int = 0) -> Array:
        """A cause of its own: the white noise that the filter lets through, of the axial velocity
        (order 0) or of its slope (order 1)."""
        row = np.zeros(TOTAL)
        band = (2.0 * math.pi * CUTOFF_HZ) ** order * math.sqrt(CUTOFF_HZ / (2.0 * order + 1.0))
        row[self._next] = self._noise * band
        self._next += 1
        return row

    def late(self, moment: Moment) -> Array:
        """Effects on a time read off this sensor's stamps alone, s: those of its clock."""
        late_s, mixed = self.effects.late_s[self.number, moment], self.effects.mixed[self.number]
        return np.asarray(mixed[CLOCK] + late_s * mixed[SLEW])

    def axial(self, moment: Moment) -> Array:
        """Effects on the axial velocity at a moment, rad/s."""
        return np.asarray(self.effects.axial[self.number, moment])

    def axial_slope(self, moment: Moment) -> Array:
        """And on its slope, rad/s^2."""
        return np.asarray(self.effects.axial_slope[self.number, moment])

    def crossing(self, moment: Moment, slope: float) -> Array:
        """Effects on when the velocity passes the value that it has at a moment, s."""
        return -(self.axial(moment) + self.noise()) / slope

    def onset(self, moment: Moment, slope: float) -> Array:
        """Effects on when a turn from rest passes the speed that it has at a moment, s.

        A speed that rises from nothing is far from straight: for a ride the passing is looked up
        on the curve without it.
        """
        moved = self.effects.unit_axial(self.number, moment) / -slope
        time_s = self.effects.time_s(moment)
        times, riding = self.effects.onset
        level, _, _ = self.curve.at(time_s)
        over = self.curve.values(times) - level - riding[self.number]
        for ride, above in enumerate(over):
            passed = (above[:-1] > 0.0).nonzero()[0]
            if passed.size:
                row = int(passed[-1])
                before, after = above[row : row + 2].tolist()
                share = before / (before - after) if after < before else 0.0
                moved[RIDE.start + ride] = (
                    time_s - times[row] - share * (times[row + 1] - times[row])
                )
        return np.asarray(moved @ self.effects.mixed[self.number] - self.noise() / slope)

    def reversal(self) -> Array:
        """Effects on the time of the reversal, s."""
        moment = (Moment.PELVIS_REVERSAL, Moment.TOP)[self.number]
        return self.crossing(moment, max(self.down.reversal_slope, 1e-3))

    def peak_time(self) -> Array:
        """Effects on the time of the peak speed, s.

        Riding sharpens a peak by a quarter, so its effect is taken on the peak without it.
        """
        moment = self._peak
        sharp = bend(self.curve, self.down.peak_s)
        bends = np.full(CAUSES, sharp)
        bends[RIDE] -= self.effects.unit_axial_bend(self.number, moment)[RIDE]
        bends = np.minimum(bends, LEAST_BEND_SHARE * sharp)
        moved = self.effects.unit_axial_slope(self.number, moment) / -bends
        return np.asarray(moved @ self.effects.mixed[self.number] - self.noise(order=1) / sharp)

    def peak(self) -> Array:
        """Effects on the peak speed, rad/s."""
        return self.axial(self._peak) + self.noise()

    def runway(self, peak_time: Array) -> Array:
        """Effects on the angle from the reversal to the peak, rad."""
        reversal = (Moment.PELVIS_REVERSAL, Moment.TOP)[self.number]
        angle = self.effects.angle[self.number]
        return np.asarray(angle[self._peak] - angle[reversal] + self.down.peak * peak_time)

    @property
    def _peak(self) -> Moment:
        return (Moment.PELVIS_PEAK, Moment.UPPER_BACK_PEAK)[self.number]


def bend(curve: AxialCurve, at_s: float) -> float:
    """Second derivative of an axial velocity around its peak, rad/s^3, below zero."""
    change = curve.at(at_s + SLOPE_S)[1] - curve.at(at_s - SLOPE_S)[1]
    return min(change / (2.0 * SLOPE_S), -1.0)


def power_peak_s(curve: AxialCurve, down: Downswing) -> float:
    """When acceleration times velocity is greatest in a downswing, s."""
    time_s, velocity, slope = curve.rows(down.reversal_s, down.peak_s)
    return float(time_s[np.argmax(slope * velocity)])
