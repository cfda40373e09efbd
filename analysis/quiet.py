"""Quiet spells, and the gyro bias that can be read from them.

A person at address is not a bench: the trunk sways by some degrees a second, but over a spell it
comes back, so the mean rate is the bias plus (net sway) / (length of the spell).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.gravity import STANDARD_GRAVITY
from analysis.quantiles import median
from analysis.rotation import squared_length
from analysis.samples import Array, SampleTable

SMOOTHING_S = 0.1
"""Averaging for the test of quiet: lets sensor noise fall below sway, blurs no swing onset."""
QUIET_RATE = np.radians(8.0)
"""rad/s, rate after smoothing. Address sway of a real golfer stays under 4 deg/s, a takeaway
passes 8 deg/s within 30 ms; both read off an open motion-capture swing, no published figure."""
QUIET_ACCEL = 0.6
"""m/s^2, allowed difference of the smoothed specific force from its mean length in quiet."""
STILLEST_S = 0.5
"""Stretch whose mean rate is a first guess of the bias."""
SHORTEST_SPELL_S = 0.3
"""A shorter pause says nothing of a bias: 0.3 degrees of sway would pass for 1 deg/s."""
BIAS_PRIOR_U = np.radians(3.0)
"""rad/s; zero-rate offsets of consumer MEMS gyros are typically 0.5 to 3 deg/s (data sheets)."""
CAUCHY_TUNING = 2.385
"""Standard uncertainties off at which a spell counts half."""
ROBUST_PASSES = 8
"""Enough for the weights to settle within a percent."""
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
    """Mean over the samples within half a width on either side of every one: (n, k) -> (n, k)."""
    mean: Array = _means_near(time_s, _running_sum(values.T), time_s, width_s).T
    return mean


def quiet_mask(samples: SampleTable) -> npt.NDArray[np.bool_]:
    """Where the segment hardly moves, (n,). See `quiet_spells`."""
    summed = _summed(samples)
    return _quiet(samples.time_s, summed, _smoothed(samples.time_s, summed))


def quiet_spells(samples: SampleTable) -> tuple[QuietSpell, ...]:
    """Spells of at least SHORTEST_SPELL_S in which the segment hardly moves, in order of time."""
    time_s, summed = samples.time_s, _summed(samples)
    smoothed = _smoothed(time_s, summed)
    mask = np.zeros(time_s.size + 2, dtype=np.int8)
    mask[1:-1] = _quiet(time_s, summed, smoothed)
    rows = np.flatnonzero(np.diff(mask)).reshape(-1, 2)
    lengths = time_s[rows[:, 1] - 1] - time_s[rows[:, 0]]
    rows = rows[lengths >= SHORTEST_SPELL_S]
    means = _means(summed, rows[:, 0], rows[:, 1])
    return tuple(
        _spell(time_s, smoothed, int(first), int(last), mean)
        for (first, last), mean in zip(rows, means.T, strict=True)
    )


def gyro_bias(spells: tuple[QuietSpell, ...]) -> GyroBias:
    """Bias from all quiet spells and what is known of such gyros, weighted by certainty.

    A spell far from the others, such as a slow look at the target, counts less: Cauchy weights
    (Holland, Welsch 1977, Commun Stat Theory Methods 6:813-827; tuned to 95 % efficiency).
    With no spell the answer is zero with the uncertainty of the prior.
    """
    prior = 1.0 / BIAS_PRIOR_U**2
    if not spells:
        return GyroBias(np.zeros(3), np.eye(3) / prior)
    rates = np.array([spell.gyro for spell in spells])
    certainty = np.array([[1.0 / spell.gyro_u**2] for spell in spells])
    nearness = certainty / CAUCHY_TUNING**2
    rate, total = np.array([median(axis) for axis in rates.T]), np.full(3, prior)
    for _ in range(ROBUST_PASSES):
        off = rates - rate
        weights = certainty / (1.0 + off * off * nearness)
        total = prior + np.add.reduce(weights)
        rate = np.add.reduce(weights * rates) / total
    return GyroBias(rate, np.diag(1.0 / total))


def _summed(samples: SampleTable) -> Array:
    """Running sums (7, n + 1) of the gyro's and the accelerometer's axes and of squared rate."""
    rows = np.empty((7, len(samples)))
    rows[:3], rows[3:6] = samples.gyro.T, samples.accel.T
    rows[6] = squared_length(rows[:3].T)
    return _running_sum(rows)


def _running_sum(rows: Array) -> Array:
    """Sums of the first values of each of k rows: (k, n) -> (k, n + 1)."""
    total = np.zeros((rows.shape[0], rows.shape[1] + 1))
    np.cumsum(rows, axis=1, out=total[:, 1:])
    return total


def _means(summed: Array, first: npt.NDArray[np.intp], last: npt.NDArray[np.intp]) -> Array:
    """Means (k, m) from each of m samples `first` up to before that of `last`, none of them empty,
    from running sums (k, n + 1)."""
    mean = summed.take(last, axis=1)
    mean -= summed.take(first, axis=1)
    mean /= last - first
    return mean


def _means_near(time_s: Array, summed: Array, at_s: Array, width_s: float) -> Array:
    """Means within half a width on either side of times, each of which has a sample near it."""
    # the slack keeps rounding of the times from deciding whether the outermost samples count
    half_s = 0.5 * width_s + 1e-6
    first = np.searchsorted(time_s, at_s - half_s, side="left")
    return _means(summed, first, np.searchsorted(time_s, at_s + half_s, side="right"))


def _smoothed(time_s: Array, summed: Array) -> Array:
    """Axes of gyro and accelerometer, (6, n), averaged over SMOOTHING_S."""
    return _means_near(time_s, summed[:6], time_s, SMOOTHING_S)


def _quiet(time_s: Array, summed: Array, smoothed: Array) -> npt.NDArray[np.bool_]:
    if not time_s.size:
        return np.zeros(0, dtype=np.bool_)
    slow = squared_length(smoothed[:3].T - _rough_bias(time_s, summed)) < QUIET_RATE**2
    force = np.sqrt(squared_length(smoothed[3:].T))
    level = median(force[slow]) if slow.any() else STANDARD_GRAVITY
    quiet: npt.NDArray[np.bool_] = slow & (np.abs(force - level) < QUIET_ACCEL)
    return quiet


def _rough_bias(time_s: Array, summed: Array) -> Array:
    """Mean rate of the stillest stretch of half a second: good enough to look for quiet."""
    # sample times themselves, so that each has a sample near it whatever the gaps
    every = max(round(time_s.size * SMOOTHING_S / max(time_s[-1] - time_s[0], SMOOTHING_S)), 1)
    mean = _means_near(time_s, summed, time_s[::every], STILLEST_S)
    size = squared_length(mean[:3].T)
    score = np.where(size < (5.0 * BIAS_PRIOR_U) ** 2, mean[6] - size, np.inf)
    stillest = int(np.argmin(score))
    return mean[:3, stillest] if np.isfinite(score[stillest]) else np.zeros(3)


def _spell(time_s: Array, smoothed: Array, first: int, last: int, mean: Array) -> QuietSpell:
    """The spell of rows first <= row < last, over which the samples have a mean."""
    start_s, end_s = float(time_s[first]), float(time_s[last - 1])
    part = smoothed[:, first:last]
    off = part - (np.add.reduce(part, axis=1) / (last - first))[:, None]
    variance = (np.add.reduce(off * off, axis=1) / (last - first)).tolist()
    independent = max((end_s - start_s) / SMOOTHING_S, 2.0)
    gyro_u = math.hypot(NET_SWAY_U / (end_s - start_s), math.sqrt(max(variance[:3]) / independent))
    accel_u = math.sqrt(max(variance[3:]) / independent)
    return QuietSpell(first, last, start_s, end_s, mean[:3], mean[3:6], gyro_u, accel_u)
