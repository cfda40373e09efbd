"""Quiet spells, and the gyro bias that can be read from them.

A person at address is not a bench: the trunk sways by some degrees a second, but over a spell it
comes back, so the mean rate is the bias plus (net sway) / (length of the spell).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.gravity import STANDARD_GRAVITY
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


def running_mean(time_s: Array, values: Array, width_s: float, at_s: Array | None = None) -> Array:
    """Mean over the samples within half a width on either side of times `at_s` (m,).

    (n,), (n, k) -> (m, k). Without times: of every sample. Each time must have a sample near it.
    """
    centre = time_s if at_s is None else at_s
    # the slack keeps rounding of the times from deciding whether the outermost samples count
    half_s = 0.5 * width_s + 1e-6
    first = np.searchsorted(time_s, centre - half_s, side="left")
    last = np.searchsorted(time_s, centre + half_s, side="right")
    total = np.zeros((time_s.size + 1, values.shape[1]))
    np.cumsum(values, axis=0, out=total[1:])
    mean: Array = (total[last] - total[first]) / (last - first)[:, None]
    return mean


def quiet_mask(samples: SampleTable) -> npt.NDArray[np.bool_]:
    """Where the segment hardly moves, (n,). See `quiet_spells`."""
    return _quiet(samples, _smoothed(samples))


def quiet_spells(samples: SampleTable) -> tuple[QuietSpell, ...]:
    """Spells of at least SHORTEST_SPELL_S in which the segment hardly moves, in order of time."""
    smoothed = _smoothed(samples)
    mask = _quiet(samples, smoothed)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    rows = edges.reshape(-1, 2)
    lengths = samples.time_s[rows[:, 1] - 1] - samples.time_s[rows[:, 0]]
    rows = rows[lengths >= SHORTEST_SPELL_S]
    if not rows.size:
        return ()
    return _spells(samples, smoothed, rows)


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
    rate, total = np.median(rates, axis=0), np.full(3, prior)
    for _ in range(ROBUST_PASSES):
        off = (rates - rate) ** 2 * certainty / CAUCHY_TUNING**2
        weights = certainty / (1.0 + off)
        total = weights.sum(axis=0) + prior
        rate = (weights * rates).sum(axis=0) / total
    return GyroBias(rate, np.diag(1.0 / total))


def _smoothed(samples: SampleTable) -> Array:
    """Gyro and accelerometer side by side, (n, 6), averaged over SMOOTHING_S."""
    both = np.concatenate((samples.gyro, samples.accel), axis=1)
    return running_mean(samples.time_s, both, SMOOTHING_S)


def _quiet(samples: SampleTable, smoothed: Array) -> npt.NDArray[np.bool_]:
    if len(samples) == 0:
        return np.zeros(0, dtype=np.bool_)
    slow = _length(smoothed[:, :3] - _rough_bias(samples)) < QUIET_RATE
    force = _length(smoothed[:, 3:])
    level = float(np.median(force[slow])) if slow.any() else STANDARD_GRAVITY
    quiet: npt.NDArray[np.bool_] = slow & (np.abs(force - level) < QUIET_ACCEL)
    return quiet


def _length(vectors: Array) -> Array:
    length: Array = np.sqrt(squared_length(vectors))
    return length


def _rough_bias(samples: SampleTable) -> Array:
    """Mean rate of the stillest stretch of half a second: good enough to look for quiet."""
    time_s, gyro = samples.time_s, samples.gyro
    both = np.concatenate((gyro, squared_length(gyro)[:, None]), axis=1)
    # sample times themselves, so that each has a sample near it whatever the gaps
    every = max(round(len(samples) * SMOOTHING_S / max(time_s[-1] - time_s[0], SMOOTHING_S)), 1)
    mean = running_mean(time_s, both, STILLEST_S, time_s[::every])
    size = squared_length(mean[:, :3])
    score = np.where(size < (5.0 * BIAS_PRIOR_U) ** 2, mean[:, 3] - size, np.inf)
    stillest = int(np.argmin(score))
    return mean[stillest, :3] if np.isfinite(score[stillest]) else np.zeros(3)


def _spells(
    samples: SampleTable, smoothed: Array, rows: npt.NDArray[np.intp]
) -> tuple[QuietSpell, ...]:
    """Spells over rows (k, 2), last exclusive, by sums over all of them at once."""
    columns = (
        samples.gyro,
        samples.accel,
        smoothed,
        smoothed * smoothed,
        np.ones((len(samples), 1)),
    )
    # a last row of zeros, so that a spell may end with the samples
    stacked = np.concatenate((np.concatenate(columns, axis=1), np.zeros((1, 19))))
    sums = np.add.reduceat(stacked, rows.reshape(-1), axis=0)[::2]
    means = sums[:, :18] / sums[:, 18:]
    variance = np.maximum(means[:, 12:18] - means[:, 6:12] ** 2, 0.0)
    start_s, end_s = samples.time_s[rows[:, 0]], samples.time_s[rows[:, 1] - 1]
    independent = np.maximum((end_s - start_s) / SMOOTHING_S, 2.0)
    gyro_u = np.hypot(
        NET_SWAY_U / (end_s - start_s), np.sqrt(variance[:, :3].max(axis=1) / independent)
    )
    accel_u = np.sqrt(variance[:, 3:].max(axis=1) / independent)
    return tuple(
        QuietSpell(
            int(rows[k, 0]),
            int(rows[k, 1]),
            float(start_s[k]),
            float(end_s[k]),
            means[k, :3],
            means[k, 3:6],
            float(gyro_u[k]),
            float(accel_u[k]),
        )
        for k in range(len(rows))
    )
