"""Quiet spells, and the gyro bias that can be read from them.

A person at address is not a bench: the trunk sways by some degrees a second, but over a spell it
comes back, so the mean rate is the bias plus (net sway) / (length of the spell).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.gravity import STANDARD_GRAVITY
from analysis.samples import Array, SampleTable

SMOOTHING_S = 0.1
"""Averaging for the test of quiet: lets sensor noise fall below sway, blurs no swing onset."""
QUIET_RATE = np.radians(8.0)
"""rad/s, rate after smoothing. Address sway of a real golfer stays under 4 deg/s, a takeaway
passes 8 deg/s within 30 ms; both read off an open motion-capture swing, no published figure."""
QUIET_ACCEL = 0.6
"""m/s^2, allowed difference of the smoothed specific force from its mean length in quiet."""
SHORTEST_SPELL_S = 0.3
"""A shorter pause says nothing of a bias: 0.3 degrees of sway would pass for 1 deg/s."""
BIAS_PRIOR_U = np.radians(3.0)
"""rad/s; zero-rate offsets of consumer MEMS gyros are typically 0.5 to 3 deg/s (data sheets)."""
NET_SWAY_U = np.radians(0.3)
"""rad; standard uncertainty of the net turn over a spell, about each axis. No published figure:
what the swing above shows over its address."""


@dataclass(frozen=True, slots=True)
class QuietSpell:
    """A stretch in which the segment hardly moved.

    first, last: rows, last exclusive. gyro, accel (3,): means, rad/s and m/s^2, sensor axes.
    gyro_u: standard uncertainty of `gyro` as a bias, rad/s, each axis. accel_u: standard
    uncertainty of `accel` as gravity, m/s^2, each axis.
    """

    first: int
    last: int
    start_s: float
    end_s: float
    gyro: Array
    accel: Array
    gyro_u: float
    accel_u: float


@dataclass(frozen=True, slots=True)
class GyroBias:
    """Rate shown at rest, sensor axes. rate (3,) rad/s; covariance (3, 3) (rad/s)^2."""

    rate: Array
    covariance: Array


def running_mean(time_s: Array, values: Array, width_s: float) -> Array:
    """Mean over the samples within half a width on either side: (n,), (n, k) -> (n, k)."""
    first = np.searchsorted(time_s, time_s - 0.5 * width_s, side="left")
    last = np.searchsorted(time_s, time_s + 0.5 * width_s, side="right")
    total = np.concatenate((np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)))
    mean: Array = (total[last] - total[first]) / (last - first)[:, None]
    return mean


def quiet_mask(samples: SampleTable) -> npt.NDArray[np.bool_]:
    """Where the segment hardly moves, (n,). See `quiet_spells`."""
    if len(samples) == 0:
        return np.zeros(0, dtype=np.bool_)
    gyro = running_mean(samples.time_s, samples.gyro, SMOOTHING_S)
    accel = running_mean(samples.time_s, samples.accel, SMOOTHING_S)
    rough = _rough_bias(samples)
    slow = np.linalg.norm(gyro - rough, axis=1) < QUIET_RATE
    force = np.linalg.norm(accel, axis=1)
    level = float(np.median(force[slow])) if slow.any() else STANDARD_GRAVITY
    quiet: npt.NDArray[np.bool_] = slow & (np.abs(force - level) < QUIET_ACCEL)
    return quiet


def quiet_spells(samples: SampleTable) -> tuple[QuietSpell, ...]:
    """Spells of at least SHORTEST_SPELL_S in which the segment hardly moves, in order of time."""
    mask = quiet_mask(samples)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return tuple(
        _spell(samples, int(first), int(last))
        for first, last in edges.reshape(-1, 2)
        if samples.time_s[last - 1] - samples.time_s[first] >= SHORTEST_SPELL_S
    )


def gyro_bias(spells: tuple[QuietSpell, ...]) -> GyroBias:
    """Bias from all quiet spells and what is known of such gyros, weighted by certainty.

    With no spell the answer is zero with the uncertainty of the prior.
    """
    weights = np.array([1.0 / spell.gyro_u**2 for spell in spells])
    total = float(weights.sum()) + 1.0 / BIAS_PRIOR_U**2
    rates = np.array([spell.gyro for spell in spells]).reshape(-1, 3)
    return GyroBias(weights @ rates / total, np.eye(3) / total)


def _rough_bias(samples: SampleTable) -> Array:
    """Mean rate of the stillest stretch of half a second: good enough to look for quiet."""
    mean = running_mean(samples.time_s, samples.gyro, 0.5)
    spread = running_mean(samples.time_s, samples.gyro**2, 0.5) - mean**2
    within = np.linalg.norm(mean, axis=1) < 5.0 * BIAS_PRIOR_U
    if not within.any():
        return np.zeros(3)
    score = np.where(within, spread.sum(axis=1), np.inf)
    chosen: Array = mean[int(np.argmin(score))]
    return chosen


def _spell(samples: SampleTable, first: int, last: int) -> QuietSpell:
    time_s = samples.time_s[first:last]
    gyro, accel = samples.gyro[first:last], samples.accel[first:last]
    length = float(time_s[-1] - time_s[0])
    independent = max(length / SMOOTHING_S, 2.0)
    sway_rate = running_mean(time_s, gyro, SMOOTHING_S).std(axis=0).max()
    sway_accel = running_mean(time_s, accel, SMOOTHING_S).std(axis=0).max()
    return QuietSpell(
        first,
        last,
        float(time_s[0]),
        float(time_s[-1]),
        gyro.mean(axis=0),
        accel.mean(axis=0),
        float(np.hypot(NET_SWAY_U / length, sway_rate / np.sqrt(independent))),
        float(sway_accel / np.sqrt(independent)),
    )
