"""The sync check: two sensors held together and twisted tell how far their clocks are apart.

Held as one, both turn at the same rate, whichever way each of them lies: the size of the angular
rate does not depend on axes. The time by which one rate curve must be moved to lie on the other
is what their clocks disagree by: found on a coarse grid by cross-correlation of the sizes, then
below a sample by least squares (Gauss-Newton) on all three axes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from sensors.source import Array

LARGEST_OFFSET_S: Final = 0.5
"""Offsets are searched up to this; learnt clocks are never so far apart, or the radio is broken."""
LEAST_DURATION_S: Final = 2.0
LEAST_RATE: Final = np.radians(40.0)
"""rad/s, standard deviation of the size of the rate; a lively twist has some 100. Own choice."""
LEAST_CORRELATION: Final = 0.98
"""Below it the two did not turn as one. Own choice: held together, noise leaves over 0.999."""
LARGEST_U_S: Final = 0.0005
"""A good check knows the offset to half a millisecond."""
_GRID_S: Final = 0.005
_MOST_STEPS: Final = 20
_SETTLED_S: Final = 1e-7


class SyncVerdict(StrEnum):
    """What came of a sync check."""

    GOOD = "good"
    TOO_SHORT = "too_short"
    TOO_LITTLE_MOTION = "too_little_motion"
    NOT_HELD_TOGETHER = "not_held_together"
    NOT_SHARP = "not_sharp"


_TEXT: Final = {
    SyncVerdict.GOOD: "Good: the clocks are brought together.",
    SyncVerdict.TOO_SHORT: (
        "Too short: hold both sensors together and twist them to and fro for five seconds."
    ),
    SyncVerdict.TOO_LITTLE_MOTION: (
        "Too little motion: twist both sensors together briskly, to and fro, for five seconds."
    ),
    SyncVerdict.NOT_HELD_TOGETHER: (
        "The two did not turn as one: press them against each other and twist again."
    ),
    SyncVerdict.NOT_SHARP: (
        "The offset did not come out sharply: twist again, with quick changes of direction."
    ),
}


@dataclass(frozen=True, slots=True)
class SyncCheck:
    """offset_s: to be added to the second sensor's times. u_s: its standard uncertainty.

    correlation: of the two rates once they are brought together; nan where there is no overlap.
    """

    verdict: SyncVerdict
    offset_s: float
    u_s: float
    correlation: float

    @property
    def good(self) -> bool:
        """Whether the offset may be applied."""
        return self.verdict is SyncVerdict.GOOD

    @property
    def text(self) -> str:
        """The verdict in words, with what to do."""
        return _TEXT[self.verdict]


def sync_check(first_s: Array, first_gyro: Array, second_s: Array, second_gyro: Array) -> SyncCheck:
    """How far the second sensor's clock is off the first's, while both turned as one.

    first_s (n,), second_s (m,): session times, s, increasing. first_gyro (n, 3), second_gyro
    (m, 3): angular rate, rad/s, each in its own sensor axes.
    """
    nothing = SyncCheck(SyncVerdict.TOO_SHORT, 0.0, float("inf"), float("nan"))
    if min(len(first_s), len(second_s)) < 2:
        return nothing
    start_s = max(first_s[0], second_s[0]) + LARGEST_OFFSET_S
    end_s = min(first_s[-1], second_s[-1]) - LARGEST_OFFSET_S
    if end_s - start_s < LEAST_DURATION_S - 2.0 * LARGEST_OFFSET_S:
        return nothing
    first_rate = np.linalg.norm(first_gyro, axis=1)
    second_rate = np.linalg.norm(second_gyro, axis=1)
    inside = (first_s >= start_s) & (first_s <= end_s)
    time_s, rate = first_s[inside], first_rate[inside]
    if min(np.std(rate), np.std(second_rate)) < LEAST_RATE:
        return SyncCheck(SyncVerdict.TOO_LITTLE_MOTION, 0.0, float("inf"), float("nan"))
    coarse_s = _coarse_offset(time_s, rate, CubicSpline(second_s, second_rate))
    curves = CubicSpline(second_s, second_gyro)
    offset_s, u_s, correlation = _refined(time_s, first_gyro[inside], curves, coarse_s)
    return SyncCheck(_verdict(offset_s, u_s, correlation), offset_s, u_s, correlation)


def _verdict(offset_s: float, u_s: float, correlation: float) -> SyncVerdict:
    if correlation < LEAST_CORRELATION or abs(offset_s) > LARGEST_OFFSET_S:
        return SyncVerdict.NOT_HELD_TOGETHER
    return SyncVerdict.GOOD if u_s <= LARGEST_U_S else SyncVerdict.NOT_SHARP


def _coarse_offset(time_s: Array, rate: Array, curve: CubicSpline) -> float:
    """Offset of the greatest correlation on a grid, s."""
    grid_s = np.arange(time_s[0], time_s[-1], _GRID_S)
    here = np.interp(grid_s, time_s, rate)
    offsets = np.arange(-LARGEST_OFFSET_S, LARGEST_OFFSET_S + _GRID_S / 2.0, _GRID_S)
    found = [np.corrcoef(here, curve(grid_s - offset))[0, 1] for offset in offsets]
    return float(offsets[int(np.argmax(found))])


def _refined(
    time_s: Array, gyro: Array, curves: CubicSpline, offset_s: float
) -> tuple[float, float, float]:
    """Offset by least squares, s, its standard uncertainty, s, and the correlation there.

    At each offset the first sensor's rates (n, 3) are a linear function of the second's, which
    takes in how they lie, their scale and their bias (variable projection: Golub and Pereyra
    1973, SIAM J Numer Anal 10:413, from memory).
    """
    slopes = curves.derivative()
    left, moved = gyro, gyro
    for _ in range(_MOST_STEPS):
        there = np.column_stack([curves(time_s - offset_s), np.ones(len(time_s))])
        fitted = np.linalg.lstsq(there, gyro, rcond=None)[0]
        left = gyro - there @ fitted
        moving = -slopes(time_s - offset_s) @ fitted[:3]
        moved = moving - there @ np.linalg.lstsq(there, moving, rcond=None)[0]
        step_s = float(np.sum(moved * left) / np.sum(moved * moved))
        offset_s += float(np.clip(step_s, -_GRID_S, _GRID_S))
        if abs(step_s) < _SETTLED_S:
            break
    variance = float(np.mean(left * left)) * max(_runs(column) for column in left.T)
    about_mean = gyro - gyro.mean(axis=0)
    explained = 1.0 - float(np.sum(left * left) / np.sum(about_mean * about_mean))
    return offset_s, float(np.sqrt(variance / np.sum(moved * moved))), float(np.sqrt(explained))


def _runs(left: Array) -> float:
    """By how much residuals that hang together count for fewer: 1 + 2 sum of autocorrelations.

    Summed to the first that is not positive (Geyer's initial positive sequence, in its simplest
    form; Statistical Science 1992, 7:473, from memory).
    """
    lags = np.correlate(left, left, "full")[len(left) - 1 :]
    shares = lags[1:] / lags[0]
    ends = np.flatnonzero(shares <= 0.0)
    return float(1.0 + 2.0 * np.sum(shares[: ends[0] if ends.size else None]))
