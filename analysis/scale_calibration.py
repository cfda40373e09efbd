"""Scale of a gyro from whole turns made by hand, one set about each axis.

A turn that ends where it began is known exactly, without any instrument. The mean rate of the
sensor at rest before and after gives the bias.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.errors import CalibrationError
from analysis.quiet import quiet_spells
from analysis.samples import Array, SampleTable

PLACED_U = np.radians(1.0)
"""rad: how well a hand puts the sensor back against the edge it started from (own estimate)."""
MOST_OFF = 0.1
"""A factor further from 1 is a wrong count of turns: parts are specified to 0.03."""
LEAST_SHARE = 0.9
"""Share of the turn that must be about one sensor axis, else three sets say too little."""

REST_S = 0.4
"""s of rest needed in the far half of each rest."""
REST_RATE = np.radians(0.5)
"""rad/s, change of the mean rate within it: a sensor that lies still shows noise only."""
_NO_REST = (
    "Expected the sensor at rest for a second before and after the turns. Repeat: lay it down, "
    "turn it on the table, and let it lie still again."
)


@dataclass(frozen=True, slots=True)
class KnownTurns:
    """A sensor at rest, turned `turns` whole turns about one axis held still, at rest again."""

    samples: SampleTable
    turns: int


@dataclass(frozen=True, slots=True)
class ScaleFactors:
    """Factors (3,) that gyro samples are to be multiplied by; standard uncertainty of each (3,)."""

    factors: Array
    u: Array

    def applied_to(self, samples: SampleTable) -> SampleTable:
        """The same samples with the gyro's scale put right."""
        return replace(samples, gyro=samples.gyro * self.factors)


def main_axis(known: KnownTurns) -> int:
    """The sensor axis (0 to 2) that a set's turns were nearly all about.

    Raises CalibrationError: no rest before and after, no such axis, a wrong count.
    """
    turned = _integral(known)[0]
    shown = float(np.linalg.norm(turned)) / (2.0 * np.pi)
    if round(shown) != abs(known.turns) or abs(shown / abs(known.turns) - 1.0) > MOST_OFF:
        raise CalibrationError(
            f"The sensor shows {shown:.2f} turns, {abs(known.turns)} were said. Repeat: count "
            "whole turns, ending against the same edge as they began."
        )
    squares = turned * turned
    axis = int(np.argmax(squares))
    if squares[axis] < LEAST_SHARE * float(squares.sum()):
        raise CalibrationError(
            "These turns were about no one axis of the sensor. Repeat: keep it flat on one face "
            "while you turn it on the table."
        )
    return axis


def scale_factors(sets: Sequence[KnownTurns]) -> ScaleFactors:
    """Three scale factors from sets of whole turns, at least one about each sensor axis.

    With W the integral of the rate over a set, bias removed, the true angle 2 pi N is the length
    of (s_x W_x, s_y W_y, s_z W_z), since the axis stays put. That is linear in the squared
    factors, so the axis of the hand need not be the sensor's.

    Raises CalibrationError: no rest before and after, turns about one axis missing, a wrong count.
    """
    integrals, angle_u = (
        zip(*(_integral(known) for known in sets), strict=True) if sets else ((), ())
    )
    matrix = np.square(np.array(integrals).reshape(-1, 3))
    _check_axes(matrix)
    angles = np.array([2.0 * np.pi * abs(known.turns) for known in sets])
    weight = 1.0 / (2.0 * angles * np.array(angle_u))
    solver = np.linalg.pinv(matrix * weight[:, None])
    factors = np.sqrt(np.maximum(solver @ (angles**2 * weight), 0.0))
    for axis, factor in zip("xyz", factors, strict=True):
        if abs(factor - 1.0) > MOST_OFF:
            raise CalibrationError(
                f"Scale of the gyro's {axis} axis comes out at {factor:.3f}; within "
                f"{MOST_OFF:.0%} of 1 was expected. Count the turns again: whole turns, ending "
                "against the same edge as they began."
            )
    variance = np.sum(solver * solver, axis=1)
    return ScaleFactors(factors, np.sqrt(variance) / (2.0 * factors))


def _integral(known: KnownTurns) -> tuple[Array, float]:
    """Turn shown by the gyro over a set (3,), rad, and its standard uncertainty, rad."""
    time_s, gyro = known.samples.time_s, known.samples.gyro
    spells = quiet_spells(known.samples)
    if len(spells) < 2:
        raise CalibrationError(_NO_REST)
    # the far half of each rest: the near one may hold the slow start or end of the turn
    first, last = spells[0], spells[-1]
    before = _rest(time_s, gyro, first.first, (first.first + first.last) // 2)
    after = _rest(time_s, gyro, (last.first + last.last) // 2, last.last)
    part = slice(first.first, last.last)
    bias = 0.5 * (before[0] + after[0])
    turned = np.asarray(np.trapezoid(gyro[part] - bias, time_s[part], axis=0), dtype=np.float64)
    bias_u = 0.5 * float(np.hypot(before[1], after[1]))
    return turned, float(np.hypot(PLACED_U, bias_u * float(time_s[last.last - 1] - first.start_s)))


def _rest(time_s: Array, gyro: Array, first: int, last: int) -> tuple[Array, float]:
    """Mean rate at rest (3,) and its standard uncertainty, rad/s."""
    halves = [part.mean(axis=0) for part in np.array_split(gyro[first:last], 2)]
    change = float(np.max(np.abs(halves[1] - halves[0])))
    if time_s[last - 1] - time_s[first] < REST_S or change > REST_RATE:
        raise CalibrationError(_NO_REST)
    return 0.5 * (halves[0] + halves[1]), 0.5 * change


def _check_axes(squares: Array) -> None:
    """Every sensor axis must have a set that is nearly all about it."""
    shares = squares / np.maximum(squares.sum(axis=1, keepdims=True), 1e-12)
    missing = [
        axis
        for axis, share in zip("xyz", shares.max(axis=0, initial=0.0), strict=True)
        if share < LEAST_SHARE
    ]
    if missing:
        raise CalibrationError(
            f"No turns about the sensor's {' and '.join(missing)} axis: turn it flat on each of "
            "three faces that meet in a corner."
        )
