"""What every cause of error does to both segments when a swing's numbers are read.

All that is wanted is looked up at once: the moments themselves, what lies SLOPE_S to either side of
them for slopes, the stretch around the takeaway, and a grid over the search for the greatest
separation.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from analysis.joint_effects import JointChange, joint_direction
from analysis.kinematics import SegmentPath
from analysis.orientation import SegmentMotion
from analysis.results import Interval
from analysis.samples import Array
from analysis.segment_effects import RIDES, Index, TrunkSeries, trunk_series

SLOPE_S = 0.01
"""s to either side over which slopes of effects are taken."""
AFTER_S = 0.05
"""Curves of effects run so far past the last event."""
ONSET_BEFORE_S, ONSET_AFTER_S, ONSET_STEP_S = 0.06, 0.03, 0.005
"""An onset is looked for so near to where it was read, at such steps."""


class Moment(IntEnum):
    """When numbers are read; the two powers: when each segment's power is greatest."""

    ADDRESS = 0
    TAKEAWAY = 1
    PELVIS_REVERSAL = 2
    TOP = 3
    PELVIS_PEAK = 4
    UPPER_BACK_PEAK = 5
    CLOSING = 6
    PELVIS_POWER = 7
    UPPER_BACK_POWER = 8
    IMPACT = 9


@dataclass(frozen=True, slots=True)
class TurnEffects:
    """Effects on what is read off both segments' orientations; pelvis, upper back.

    turn (2, m, TOTAL) rad since address, on the grid. at_top (2, 3, TOTAL) rad: on turn, obliquity
    and forward tilt; top_rates (2, 3) rad/s: how fast these grow there. turn_rate (2, TOTAL) rad/s:
    on the rate of turn at the fastest closing; closing_slope rad/s^2: how fast that closing grows.
    address_rates (2,) rad/s: rates of turn at address. joint: at the address, the top and on the
    grid.
    """

    turn: Array
    at_top: Array
    top_rates: Array
    turn_rate: Array
    closing_slope: float
    address_rates: Array
    joint: JointChange


class MomentEffects:
    """Effects on both segments; pelvis, upper back.

    moments_s: time of each Moment, s; grid (m,) s, evenly spaced, over the search for the greatest
    separation; mixed (2, CAUSES, TOTAL): what each cause of a segment is of the independent ones.
    By moment, of one standard uncertainty of each independent cause: axial, axial_slope and angle
    (2, moments, TOTAL), rad/s, rad/s^2, rad; late_s (2, moments): how late the stamps are there,
    see `analysis.stamps`. onset: times (k,) s around the takeaway and the axial
    velocity of every ride at them, (2, RIDES, k) rad/s. turns: on what is read off orientations.
    """

    def __init__(
        self,
        motions: tuple[SegmentMotion, SegmentMotion],
        paths: tuple[SegmentPath, SegmentPath],
        moments_s: list[float],
        grid: Array,
        mixed: Array,
    ) -> None:
        self.mixed, self._moments_s = mixed, moments_s
        at, count = np.array(moments_s), len(Moment)
        around = np.arange(-ONSET_BEFORE_S, ONSET_AFTER_S, ONSET_STEP_S) + at[Moment.TAKEAWAY]
        around = np.maximum(around, max(float(path.curves.time_s[0]) for path in paths))
        self._before, self._after = np.arange(count, 2 * count), np.arange(2 * count, 3 * count)
        within = Interval(
            moments_s[Moment.ADDRESS],
            max(moments_s[Moment.PELVIS_PEAK], moments_s[Moment.UPPER_BACK_PEAK]) + AFTER_S,
        )
        times = np.concatenate((at, at - SLOPE_S, at + SLOPE_S, around, grid))
        series = trunk_series(motions, paths, within, times)
        by_feature = series.axial_effects()
        self._unit = series.axial[..., : 3 * count].transpose(0, 2, 1) @ by_feature
        moved = self._unit @ mixed
        self.axial = moved[:, :count]
        self.axial_slope = (moved[:, self._after] - moved[:, self._before]) / (2.0 * SLOPE_S)
        self.angle = series.angle[..., :count].transpose(0, 2, 1) @ (by_feature @ mixed)
        self.late_s = series.late_s[:, :count]
        riding = series.axial[:, -len(RIDES) :, 3 * count : times.size - grid.size]
        self.onset = (around, series.sign * riding)
        self.turns = self._turn_effects(series, np.arange(times.size - grid.size, times.size))

    def time_s(self, moment: Moment) -> float:
        """Session time of a moment, s."""
        return self._moments_s[moment]

    def unit_axial(self, number: int, moment: Moment) -> Array:
        """Effects (CAUSES,) of one unit of each of a segment's causes on its axial velocity."""
        return np.asarray(self._unit[number, moment])

    def unit_axial_slope(self, number: int, moment: Moment) -> Array:
        """And on its slope."""
        change: Array = (
            self._unit[number, self._after[moment]] - self._unit[number, self._before[moment]]
        )
        return change / (2.0 * SLOPE_S)

    def unit_axial_bend(self, number: int, moment: Moment) -> Array:
        """And on its second derivative."""
        before, after = self._before[moment], self._after[moment]
        at = self._unit[number]
        return np.asarray((at[before] - 2.0 * at[moment] + at[after]) / SLOPE_S**2)

    def _turn_effects(self, series: TrunkSeries, grid: Index) -> TurnEffects:
        """All of them in one product with the causes; grid: columns of the series."""
        top, closing = int(Moment.TOP), int(Moment.CLOSING)
        address, before, after = int(Moment.ADDRESS), self._before[closing], self._after[closing]
        rows, velocity = series.angle_rows(), series.velocity()
        rates = np.add.reduce(rows * velocity, axis=2)
        turn_columns = np.concatenate(([address, before, after, top], grid))
        joint_columns = np.concatenate(([address, top], grid))
        direction = joint_direction(series.world[..., joint_columns], series.sign)
        moved = series.about(
            np.concatenate(
                (
                    rows[0][..., turn_columns],
                    rows[1:, :, :, top].transpose(1, 2, 0),
                    np.array((direction, direction)),
                ),
                axis=2,
            ),
            np.concatenate((turn_columns, [top, top], joint_columns)),
        )
        effects = moved.transpose(0, 2, 1) @ self.mixed
        turn, other = effects[:, : turn_columns.size], effects[:, turn_columns.size :]
        since = turn[:, 3:] - turn[:, :1]
        closing_rates = rates[0][:, [before, after]]
        opening = closing_rates[0] - closing_rates[1]
        apart = (velocity[1] - velocity[0])[:, joint_columns]
        return TurnEffects(
            since[:, 1:],
            np.concatenate((since[:, :1], other[:, :2]), axis=1),
            rates[:, :, top].T,
            (turn[:, 2] - turn[:, 1]) / (2.0 * SLOPE_S),
            float(opening[0] - opening[1]) / (2.0 * SLOPE_S),
            rates[0, :, address],
            JointChange(
                direction[1],
                np.add.reduce(direction * apart),
                other[1, 2:] - other[0, 2:],
            ),
        )
