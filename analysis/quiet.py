"""Quiet spells, and the gyro bias that can be read from them.

A person at address is not a bench: the trunk sways by some degrees a second, but over a spell it
comes back, so the mean rate is the bias plus (net sway) / (length of the spell).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.quantiles import median
from analysis.rotation import squared_length
from analysis.samples import Array, SampleTable
from analysis.vertical_model import STANDARD_GRAVITY

Rows = npt.NDArray[np.intp]

SMOOTHING_S = 0.1
"""Averaging for the test of quiet: lets sensor noise fall below sway, blurs no swing onset."""
QUIET_RATE = np.radians(8.0)
"""rad/s, rate after smoothing. Address sway of a real golfer stays under 4 deg/s, a takeaway
passes 8 deg/s within 30 ms; both read off an open motion-capture swing, no published figure."""
QUIET_ACCEL = 0.6
"""m/s^2, allowed difference of the smoothed specific force from its mean length in quiet."""
SLACK_S = 1e-6
"""Keeps rounding of the times from deciding whether the outermost samples of a mean count."""
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

    first, last: rows, last exclusive. gyro, accel (3,): means, rad/s and m/s^2, sensor axes, of
    what lies half of SMOOTHING_S within its ends, since averaging lets movement so far in.
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
    mean: Array = _running_mean(time_s, _running_sum(values.T), width_s).T
    return mean


def quiet_mask(samples: SampleTable) -> npt.NDArray[np.bool_]:
    """Where the segment hardly moves, (n,). See `quiet_spells`."""
    if not len(samples):
        return np.zeros(0, dtype=np.bool_)
    summed = _summed(samples)
    return _quiet(samples.time_s, summed, _smoothed(samples.time_s, summed))


def quiet_spells(samples: SampleTable) -> tuple[QuietSpell, ...]:
    """Spells of at least SHORTEST_SPELL_S in which the segment hardly moves, in order of time."""
    if not len(samples):
        return ()
    time_s, summed = samples.time_s, _summed(samples)
    smoothed = _smoothed(time_s, summed)
    mask = np.zeros(time_s.size + 2, dtype=np.int8)
    mask[1:-1] = _quiet(time_s, summed, smoothed)
    first, last = (mask[1:] != mask[:-1]).nonzero()[0].reshape(-1, 2).T
    long = time_s[last - 1] - time_s[first] >= SHORTEST_SPELL_S
    return _spells(time_s, summed, smoothed, first[long], last[long])


def gyro_bias(spells: tuple[QuietSpell, ...]) -> GyroBias:
    """Bias from all quiet spells and what is known of such gyros, weighted by certainty.

    A spell far from the others, such as a slow look at the target, counts less: Cauchy weights
    (Holland, Welsch 1977, Commun Stat Theory Methods 6:813-827; tuned to 95 % efficiency).
    With no spell the answer is zero with the uncertainty of the prior.
    """
    return gyro_biases([spells])[0]


def gyro_biases(sensors: Sequence[tuple[QuietSpell, ...]]) -> list[GyroBias]:
    """Bias of each of S sensors from its own spells, see `gyro_bias`; worked on together."""
    most = max(len(spells) for spells in sensors)
    # in units of the tuning constant, in which a spell one standard uncertainty off counts half;
    # spells that others lack are infinitely uncertain
    rates, variance = np.zeros((len(sensors), most, 3)), np.full((len(sensors), most, 3), np.inf)
    mean, prior = np.zeros((len(sensors), 3)), np.full((len(sensors), 3), 1.0 / BIAS_PRIOR_U**2)
    for number, spells in enumerate(sensors):
        if spells:
            count = len(spells)
            rates[number, :count] = [spell.gyro for spell in spells]
            rates[number, :count] /= CAUCHY_TUNING
            variance[number, :count] = [[spell.gyro_u**2] for spell in spells]
            ordered = np.sort(rates[number, :count], axis=0)
            mean[number] = 0.5 * (ordered[(count - 1) // 2] + ordered[count // 2])
    total, weights = prior, np.empty((2, *rates.shape))
    for _ in range(ROBUST_PASSES):
        # one over (u^2 + off^2): the certainty, 1 / u^2, by the weight, 1 / (1 + (off / u)^2)
        off = rates - mean[:, None]
        off *= off
        off += variance
        np.reciprocal(off, out=weights[0])
        np.multiply(weights[0], rates, out=weights[1])
        total, mean = np.add.reduce(weights, axis=2)
        total += prior
        mean /= total
    mean *= CAUCHY_TUNING
    return [
        GyroBias(rate, np.diag(variance)) for rate, variance in zip(mean, 1.0 / total, strict=True)
    ]


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


def _means(summed: Array, first: Rows, last: Rows) -> Array:
    """Means (k, m) from each of m samples `first` up to before that of `last`, none of them empty,
    from running sums (k, n + 1)."""
    mean = summed.take(last, axis=1)
    mean -= summed.take(first, axis=1)
    mean /= last - first
    return mean


def _running_mean(time_s: Array, summed: Array, width_s: float) -> Array:
    """Means (k, n) within half a width on either side of every sample, from running sums."""
    reach = _even_reach(time_s, width_s)
    if reach is None:
        return _means(summed, *_rows_near(time_s, time_s, width_s))
    # without look-up: a slice of the sums less another, with level sums beyond the ends
    count = time_s.size
    padded = np.empty((summed.shape[0], count + 2 * reach + 1))
    padded[:, :reach], padded[:, reach : reach + count + 1] = 0.0, summed
    padded[:, reach + count + 1 :] = summed[:, -1:]
    mean = padded[:, 2 * reach + 1 :] - padded[:, :count]
    row = np.arange(count)
    sizes = np.minimum(row + reach, count - 1) - np.maximum(row - reach, 0) + 1
    mean /= sizes
    return mean


def _even_reach(time_s: Array, width_s: float) -> int | None:
    """How many samples lie within half a width on one side of every sample but those near the ends,
    where for all of them it is the same number."""
    half_s, count = 0.5 * width_s + SLACK_S, time_s.size
    middle_s = time_s[count // 2]
    reach = int(time_s.searchsorted(middle_s + half_s, side="right")) - count // 2 - 1
    if not 0 < 2 * reach < count - 1:
        return None
    within = (time_s[reach:] - time_s[:-reach]).max() <= half_s
    beyond = (time_s[reach + 1 :] - time_s[: -reach - 1]).min() > half_s
    return reach if within and beyond else None


def _rows_near(time_s: Array, at_s: Array, width_s: float) -> tuple[Rows, Rows]:
    """First and last row, exclusive, of the samples within half a width of times (m,)."""
    half_s = 0.5 * width_s + SLACK_S
    first = time_s.searchsorted(at_s - half_s, side="left")
    return first, time_s.searchsorted(at_s + half_s, side="right")


def _smoothed(time_s: Array, summed: Array) -> Array:
    """Axes of gyro and accelerometer, (6, n), averaged over SMOOTHING_S."""
    return _running_mean(time_s, summed[:6], SMOOTHING_S)


def _quiet(time_s: Array, summed: Array, smoothed: Array) -> npt.NDArray[np.bool_]:
    rate = smoothed[:3] - _rough_bias(time_s, summed)[:, None]
    slow = squared_length(rate.T) < QUIET_RATE**2
    force = np.sqrt(squared_length(smoothed[3:].T))
    level = median(force[slow]) if slow.any() else STANDARD_GRAVITY
    force -= level
    quiet: npt.NDArray[np.bool_] = slow & (np.abs(force) < QUIET_ACCEL)
    return quiet


def _rough_bias(time_s: Array, summed: Array) -> Array:
    """Mean rate of the stillest stretch of half a second: good enough to look for quiet."""
    # sample times themselves, so that each has a sample near it whatever the gaps
    every = max(round(time_s.size * SMOOTHING_S / max(time_s[-1] - time_s[0], SMOOTHING_S)), 1)
    mean = _means(summed, *_rows_near(time_s, time_s[::every], STILLEST_S))
    size = squared_length(mean[:3].T)
    score = np.where(size < (5.0 * BIAS_PRIOR_U) ** 2, mean[6] - size, np.inf)
    stillest = int(np.argmin(score))
    return mean[:3, stillest] if np.isfinite(score[stillest]) else np.zeros(3)


def _spells(
    time_s: Array, summed: Array, smoothed: Array, first: Rows, last: Rows
) -> tuple[QuietSpell, ...]:
    """The spells of rows first <= row < last, (m,) each."""
    if not first.size:
        return ()
    still = _still(time_s, first, last)
    means = _means(summed, *still)
    variance = _variances(smoothed, *still)
    start_s, end_s = time_s[first], time_s[last - 1]
    still_s = end_s - start_s - SMOOTHING_S
    independent = np.maximum(still_s / SMOOTHING_S, 2.0)
    gyro_u = np.hypot(NET_SWAY_U / still_s, np.sqrt(variance[:3].max(axis=0) / independent))
    accel_u = np.sqrt(variance[3:].max(axis=0) / independent)
    facts = (first, last, start_s, end_s, gyro_u, accel_u)
    return tuple(
        QuietSpell(row, stop, start, end, mean[:3], mean[3:6], rate_u, force_u)
        for row, stop, start, end, rate_u, force_u, mean in zip(
            *(fact.tolist() for fact in facts), means.T, strict=True
        )
    )


def _still(time_s: Array, first: Rows, last: Rows) -> tuple[Rows, Rows]:
    """Rows half of SMOOTHING_S within the ends of spells; all of a spell with only a hole there."""
    half_s = 0.5 * SMOOTHING_S - SLACK_S
    begin = time_s.searchsorted(time_s[first] + half_s, side="left")
    stop = time_s.searchsorted(time_s[last - 1] - half_s, side="right")
    held = begin < stop
    return np.where(held, begin, first), np.where(held, stop, last)


def _variances(values: Array, first: Rows, last: Rows) -> Array:
    """Variances (k, m) of values (k, n) over the rows from each of m `first` up to before `last`,
    one after another and apart."""
    inside = values[:, first[0] : last[-1]]
    # sums over a spell and over what lies between it and the next, in turn
    stops = np.array((first, last)).T.ravel()[:-1] - first[0]
    counts = last - first
    mean = np.add.reduceat(inside, stops, axis=1)[:, ::2] / counts
    variance = np.add.reduceat(inside * inside, stops, axis=1)[:, ::2] / counts - mean * mean
    return np.asarray(np.maximum(variance, 0.0))
