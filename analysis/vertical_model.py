"""The model of the vertical over a window (see `analysis.gravity`): its grid, and its smoother.

Several windows of equally many steps are worked on together: of so few numbers each call costs more
than what it calculates. What holds for one of them never depends on the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import lapack

from analysis.pieces import Between, cumulative
from analysis.samples import Array

KNOT_S = 0.1
"""s; a swing's accelerations average out over some of these, its tilt does not change in one."""
STANDARD_GRAVITY = 9.80665
"""m/s^2; CGPM 1901."""
STANDING_SPEED_U = 0.1
"""m/s of a sensor on a standing person. Sway is some cm/s but lasts for some knots, and what
matters is what it adds up to; own estimate, no published figure."""
LEVER_M = 0.1
"""m from the axis a trunk turns about to a sensor on its back; own estimate."""
SPEED_WITHIN_S = 0.5
"""s; a sensor's speed follows from how fast it turned within this time."""
GYRO_SCALE_U = 0.005
"""Relative; what is left of scale and axis alignment after a scale calibration. Consumer parts
are only specified to 0.03."""
SWING_S = 1.0
"""s; an error of scale adds up over so long before the turn is another one."""
RANDOM_DRIFT = np.radians(0.05)
"""rad/sqrt(s); gyro noise and bias wander together, several times the noise of consumer parts."""


BEFORE_S = 3.0
"""s; address lies within it before the fastest moment of a swing."""
THINNED_S = 0.01
"""s between samples above which a trunk's posture loses nothing: it moves below 15 Hz."""
FEWEST_TO_THIN = 50
"""Of fewer samples every one is taken."""
PROBE_EVERY = 3
"""Of the steps before the reference so many lie between two at which the vertical's uncertainty is
looked up: it changes over more than these 0.3 s."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A window of one sensor, two samples or more.

    time_s (n,) s; rate (n, 3) rad/s and force (n, 3) m/s^2 in sensor axes; reference: the row about
    which the effect of bias is linearised, where the result is wanted most; bias_covariance (3, 3)
    (rad/s)^2 of the bias in `rate`, expected zero.
    """

    time_s: Array
    rate: Array
    force: Array
    reference: int
    bias_covariance: Array

    @property
    def thinned(self) -> slice:
        """Rows that are enough for what changes as slowly as posture does."""
        return slice(None, None, thinning(self.time_s))

    @property
    def steps(self) -> int:
        """Of the window's grid."""
        time_s = self.time_s[self.thinned]
        return max(round(float(time_s[-1] - time_s[0]) / KNOT_S), 3)


@dataclass(frozen=True, slots=True)
class Stack:
    """Windows of S sensors, thinned, of equally many samples and steps: worked on together, since
    of so few numbers each call costs more than what it calculates.

    time_s (S, m) s; force (3, S, m) m/s^2, sensor axes; certainty (S, 3, 3): of the bias before.
    Each window has K steps, between K + 1 edges: halves_s (S, 2K + 1) are the edges and, between
    them, the middles of the steps, which are the knots; between: their places in time_s, all
    windows' samples in one row. step_s (S, 1) s; speed_u (S, K + 1) at edges, in s (m/s over g);
    drift_u (S, K - 1) rad, at inner edges. reference (S,): the knots next to the references.
    """

    time_s: Array
    force: Array
    certainty: Array
    halves_s: Array
    between: Between
    step_s: Array
    speed_u: Array
    drift_u: Array
    reference: npt.NDArray[np.intp]

    def of(self, number: int) -> Stack:
        """One of the windows alone."""
        one = slice(number, number + 1)
        before = self.between.before[one] - number * self.time_s.shape[1]
        return Stack(
            self.time_s[one],
            self.force[:, one],
            self.certainty[one],
            self.halves_s[one],
            Between(before, self.between.share[one]),
            self.step_s[one],
            self.speed_u[one],
            self.drift_u[one],
            self.reference[one],
        )

    def at_halves(self, rows: Array) -> Array:
        """Rows (..., S, m) at edges and knots, (..., S, 2K + 1)."""
        return self.between(rows.reshape(*rows.shape[:-2], -1))


def thinning(time_s: Array) -> int:
    """Every which sample is enough for what changes as slowly as posture and quiet do."""
    if time_s.size < FEWEST_TO_THIN:
        return 1
    step_s = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    return max(int(THINNED_S / step_s + 0.1), 1)


def stacked(windows: Sequence[Measured]) -> Stack:
    """Windows of as many steps, thinned and brought to the same number of samples."""
    longest = max(window.time_s[window.thinned].size for window in windows)
    times = even_rows([window.time_s[None, window.thinned] for window in windows], longest)[0]
    rates = even_rows([window.rate[window.thinned].T for window in windows], longest)
    forces = even_rows([window.force[window.thinned].T for window in windows], longest)
    steps = windows[0].steps
    first_s, half_s = times[:, :1], (times[:, -1:] - times[:, :1]) / (2 * steps)
    halves_s = first_s + half_s * np.arange(2 * steps + 1)
    places = [Between.of(*pair) for pair in zip(halves_s, times, strict=True)]
    before = np.array([place.before for place in places])
    before += times.shape[1] * np.arange(len(windows))[:, None]
    between = Between(before, np.array([place.share for place in places]))
    squared = between(cumulative(times, np.add.reduce(rates * rates)).ravel())
    around = _root_mean(squared, half_s, max(round(0.5 * SPEED_WITHIN_S / float(half_s[0, 0])), 1))
    within = _root_mean(squared, half_s, 1)[:, 2:-1:2]
    drift_variance = RANDOM_DRIFT**2 + (GYRO_SCALE_U * within) ** 2 * SWING_S
    reference_s = np.array([window.time_s[window.reference] for window in windows])
    reference = ((reference_s - times[:, 0]) / (2.0 * half_s[:, 0])).astype(np.intp)
    return Stack(
        times,
        forces,
        np.linalg.inv(np.array([window.bias_covariance for window in windows])),
        halves_s,
        between,
        2.0 * half_s,
        (STANDING_SPEED_U + LEVER_M * around[:, ::2]) / STANDARD_GRAVITY,
        np.sqrt(drift_variance * (2.0 * half_s)),
        np.minimum(np.maximum(reference, 0), steps - 1),
    )


def even_rows(rows: Sequence[Array], longest: int) -> Array:
    """Rows (k, n) of S windows as (k, S, longest): the first sample of a shorter window is
    repeated, at its own time, which adds nothing to any integral."""
    even = np.empty((rows[0].shape[0], len(rows), longest))
    for number, window in enumerate(rows):
        lacking = longest - window.shape[1]
        even[:, number, lacking:] = window
        even[:, number, :lacking] = window[:, :1]
    return even


def _root_mean(integral: Array, half_s: Array, reach: int) -> Array:
    """Root of the mean within `reach` half steps to either side, (S, 2K + 1), from the integral."""
    place = np.arange(integral.shape[1])
    first, last = np.maximum(place - reach, 0), np.minimum(place + reach, place.size - 1)
    total = np.maximum(integral[:, last] - integral[:, first], 0.0)
    mean: Array = np.sqrt(total / (half_s * (last - first)))
    return mean


class Smoother:
    """Speeds v at the edges that explain m columns of summed force best, with a slow vertical.

    columns (m, S, K). With A the model's information on the speeds, banded, and R what the columns
    say of them, v = A^-1 R. A = U^T U: half of the solution, U^-T R, tells all that is asked but
    the vertical itself.
    """

    def __init__(self, stack: Stack, columns: Array) -> None:
        self._stack, self._columns = stack, columns.transpose(1, 0, 2)
        weight = 1.0 / (stack.drift_u * stack.drift_u)
        self._change = self._columns[..., 1:] - self._columns[..., :-1]
        self._change /= stack.step_s[..., None]
        self._pull = weight[:, None] * self._change
        count, inner = columns.shape[0], weight.shape[1]
        probes = self._probes()
        right = np.zeros((columns.shape[1], count + probes.shape[1], inner + 2))
        pull = self._pull / stack.step_s[..., None]
        right[:, :count, :inner] = pull
        right[:, :count, 1:-1] -= 2.0 * pull
        right[:, :count, 2:] += pull
        right[:, count:] = probes
        self._roots = [lapack.dpbtrf(band)[0] for band in self._information(weight)]
        # memory by columns, as LAPACK wants it: worked on in place
        half = [
            lapack.dtbtrs(root, of_one.T, trans="T", overwrite_b=1)[0].T
            for root, of_one in zip(self._roots, right, strict=True)
        ]
        self._half = np.array([of_one[:count] for of_one in half])
        self._half_probes = np.array([of_one[count:] for of_one in half])

    def _information(self, weight: Array) -> Array:
        """A, its upper band (S, 3, K + 1), LAPACK's way."""
        stack = self._stack
        curve = weight / (stack.step_s * stack.step_s)
        band = np.zeros((curve.shape[0], 3, curve.shape[1] + 2))
        band[:, 2] = 1.0 / (stack.speed_u * stack.speed_u)
        band[:, 2, :-2] += curve
        band[:, 2, 1:-1] += 4.0 * curve
        band[:, 2, 2:] += curve
        band[:, 1, 1:-1] -= 2.0 * curve
        band[:, 1, 2:] -= 2.0 * curve
        band[:, 0, 2:] = curve
        return band

    def _probes(self) -> Array:
        """(S, p, K + 1): what the vertical on steps of the last BEFORE_S is of the speeds."""
        stack, window = self._stack, np.arange(self._stack.reference.size)[:, None]
        back = np.arange(0, round(BEFORE_S / KNOT_S) + 1, PROBE_EVERY)
        steps = np.maximum(stack.reference[:, None] - back, 0)
        probes = np.zeros((*steps.shape, stack.speed_u.shape[1]))
        row = np.arange(back.size)
        probes[window, row, steps] = 1.0 / stack.step_s
        probes[window, row, steps + 1] = -1.0 / stack.step_s
        return probes

    def gram(self) -> Array:
        """Products (S, m, m) of the columns under the model's inverse covariance."""
        product: Array = self._change @ self._pull.transpose(0, 2, 1)
        product -= self._half @ self._half.transpose(0, 2, 1)
        return product

    def least_variance(self) -> Array:
        """Of the vertical on the steps of the probes, (S,)."""
        variances = np.add.reduce(self._half_probes * self._half_probes, axis=2)
        return np.asarray(variances.min(axis=1))

    def vertical(self, mixed: Array) -> Array:
        """Smoothed force on every step, (S, K, k), of sums of columns as `mixed` (S, k, m) says."""
        half = mixed @ self._half
        speed = np.array(
            [
                lapack.dtbtrs(root, of_one.T)[0].T
                for root, of_one in zip(self._roots, half, strict=True)
            ]
        )
        smoothed = mixed @ self._columns - speed[..., 1:] + speed[..., :-1]
        smoothed /= self._stack.step_s[..., None]
        return np.asarray(smoothed.transpose(0, 2, 1))
