"""The vertical through a whole window, and what it says of the gyro's bias.

At rest an accelerometer shows the vertical; in motion it shows the vertical plus the rate of
change of velocity. A golfer's trunk starts and ends near rest and never moves fast, so carried
into one frame by the gyro, specific force f is the vertical G plus dv/dt with a small v, and its
integral pins G down the better the longer one looks. G itself moves, slowly, by what the gyro
gets wrong: its bias in the known way, its scale and alignment in an unknown one.

The model, for each axis of the frame and on a grid of steps of KNOT_S:
    integral of f over step k = G_k KNOT_S + X_k b + v_(k+1) - v_k,
    v_k ~ N(0, speed_u^2),   G_(k+1) - G_k ~ N(0, drift_u^2),   b ~ N(0, prior)
is linear and Gaussian, so least squares give G and b with their uncertainty: a fixed-interval
smoother (Rauch, Tung, Striebel 1965, AIAA J 3:1445-1450), solved as one banded system. With
constant uncertainties it is a zero-phase second-order Butterworth low-pass of f.

The constants say what people and parts do. They were set with two open data sets in view, a golf
swing from motion capture and a sensor in fast rotation; neither proves them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import lapack

from analysis import rotation
from analysis.integration import integrate
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
MOST_PASSES = 4
SETTLED = np.radians(4.0)
"""rad over the window; what a smaller last change of bias leaves is of second order: a few percent
of that change, and at the reference nothing."""
THINNED_S = 0.01
"""s between samples above which a trunk's posture loses nothing: it moves below 15 Hz."""
FEWEST_TO_THIN = 50
"""Of fewer samples every one is taken."""
PROBE_EVERY = 3
"""Of the steps before the reference so many lie between two at which the vertical's uncertainty is
looked up: it changes over more than these 0.3 s."""


@dataclass(frozen=True, slots=True)
class Vertical:
    """Result of `fit_vertical`.

    bias (3,) rad/s still in the rates; bias_covariance (3, 3) (rad/s)^2, sensor axes. turned
    (n, 4): sensor to a frame that is still but for the last small change of that bias; amended
    (K, 4): the turns of that frame into a still one at knots_s (K,) s, see `after_knots`. up
    (K, 3): the vertical at each knot in the still frame, in units of gravity; tilt_u_rad: one
    standard uncertainty of it, each axis, where it is known best in the BEFORE_S before the
    reference. misfit: mean squared residual over what the model expects; far above 1, gyro and
    accelerometer contradict each other.
    """

    bias: Array
    bias_covariance: Array
    turned: Array
    knots_s: Array
    amended: Array
    up: Array
    tilt_u_rad: float
    misfit: float


@dataclass(frozen=True, slots=True)
class Between:
    """Places of k times between samples, for values that are linear in between: the sample before
    and the share of the step after it, (k,) each; level beyond the ends."""

    before: npt.NDArray[np.intp]
    share: Array

    @classmethod
    def of(cls, wanted_s: Array, time_s: Array) -> Between:
        """Places of times (k,) s between samples at time_s (n,) s, n >= 2."""
        before = time_s.searchsorted(wanted_s, side="right") - 1
        before = np.minimum(np.maximum(before, 0), time_s.size - 2)
        start_s = time_s[before]
        share = (wanted_s - start_s) / (time_s[before + 1] - start_s)
        return cls(before, np.minimum(np.maximum(share, 0.0), 1.0))

    def __call__(self, rows: Array) -> Array:
        """Rows (..., n) at the wanted times, (..., k)."""
        low = rows.take(self.before, axis=-1)
        found = rows.take(self.before + 1, axis=-1)
        found -= low
        found *= self.share
        found += low
        return found


@dataclass(frozen=True, slots=True)
class _Grid:
    """K steps over a window, between K + 1 edges.

    halves_s (2K + 1,): edges and, between them, the middles of the steps, which are the knots;
    between: their places between the samples. speed_u (K + 1,) at edges, in s (m/s over g);
    drift_u (K - 1,) rad, at inner edges. reference: the knot next to the reference.
    """

    halves_s: Array
    between: Between
    speed_u: Array
    drift_u: Array
    reference: int

    @property
    def step_s(self) -> float:
        return float(self.halves_s[2] - self.halves_s[0])


@dataclass(frozen=True, slots=True)
class _Pass:
    """One least-squares solution, linear about the orientation it was given.

    amended (K, 3) rad: small turns of that orientation at the knots, in its frame, by which it
    follows from the better bias, none at the reference.
    """

    bias: Array
    amended: Array
    covariance: Array
    up: Array
    tilt_u: float
    misfit: float


def fit_vertical(
    time_s: Array,
    rate: Array,
    force: Array,
    *,
    reference: int,
    bias_covariance: Array,
) -> Vertical:
    """Least-squares vertical and gyro bias over a window.

    time_s (n,) s; rate (n, 3) rad/s and force (n, 3) m/s^2 in sensor axes; reference: the row
    about which the effect of bias is linearised, where the result is wanted most;
    bias_covariance (3, 3) (rad/s)^2 of the bias in `rate`, expected zero.
    Repeated about the better orientation until the bias stays.
    """
    rows = slice(None, None, thinning(time_s))
    thin_s, thin_force = time_s[rows], force[rows]
    grid = _grid(thin_s, rate[rows], float(time_s[reference]))
    prior = _inverse(bias_covariance)
    bias, turned = np.zeros(3), integrate(time_s, rate)
    found = _pass((thin_s, thin_force), grid, turned[rows], (-bias, prior))
    for _ in range(MOST_PASSES - 1):
        if np.linalg.norm(found.bias) * (time_s[-1] - time_s[0]) < SETTLED:
            break
        bias = bias + found.bias
        turned = integrate(time_s, rate - bias)
        found = _pass((thin_s, thin_force), grid, turned[rows], (-bias, prior))
    return Vertical(
        bias + found.bias,
        found.covariance,
        turned,
        grid.halves_s[1::2],
        _small_turns(found.amended),
        found.up,
        found.tilt_u,
        found.misfit,
    )


def thinning(time_s: Array) -> int:
    """Every which sample is enough for what changes as slowly as posture and quiet do."""
    if time_s.size < FEWEST_TO_THIN:
        return 1
    step_s = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    return max(int(THINNED_S / step_s + 0.1), 1)


def after_knots(time_s: Array, turned: Array, knots_s: Array, turn: Array) -> Array:
    """Orientations (n, 4) at time_s (n,) s after further turns in their frame.

    turn (K, 4) at evenly spaced knots_s (K,), K >= 2, one next to the other: linear between knots,
    level beyond them.
    """
    place = (time_s - knots_s[0]) * ((knots_s.size - 1) / (knots_s[-1] - knots_s[0]))
    place = np.minimum(np.maximum(place, 0.0), knots_s.size - 1.0)
    before = np.minimum(place.astype(np.intp), knots_s.size - 2)
    further = Between(before, place - before)(turn.T).T
    return rotation.normalise(rotation.multiply(further, turned))


def _small_turns(by: Array) -> Array:
    """Quaternions (K, 4) of small turns (K, 3) rad.

    What this leaves out is of second order in the turn, as in the solution itself.
    """
    turns = np.ones((by.shape[0], 4))
    turns[:, 1:] = 0.5 * by
    return rotation.normalise(turns)


def _pass(
    measured: tuple[Array, Array], grid: _Grid, turned: Array, prior: tuple[Array, Array]
) -> _Pass:
    """measured: time (n,) s and force (n, 3) m/s^2, sensor axes; turned (n, 4) at them. prior:
    expected bias (3,) still in `turned`, and its information matrix (3, 3)."""
    time_s, force = measured
    still = rotation.rotate(turned, force) / STANDARD_GRAVITY
    until = grid.between(cumulative(time_s, still.T))[:, ::2]
    summed = until[:, 1:] - until[:, :-1]
    since = _since_reference(grid, turned)
    effect = _bias_effect(grid, since, summed.sum(axis=1))
    columns = np.concatenate((summed, effect))
    smoother = _Smoother(grid, columns)
    gram = smoother.gram()
    # the nine effects are those of three biases on each of three axes
    information = gram[3:6, 3:6] + gram[6:9, 6:9] + gram[9:, 9:]
    pull = gram[3:6, 0] + gram[6:9, 1] + gram[9:, 2]
    squares = float(gram[0, 0] + gram[1, 1] + gram[2, 2])
    bias, covariance, misfit = _weigh(information, pull, squares, prior, 3 * grid.drift_u.size)
    up = smoother.vertical(np.concatenate((np.eye(3), np.kron(np.eye(3), -bias[:, None]))))
    tilt_u = float(np.sqrt(smoother.least_variance() * max(misfit, 1.0)))
    return _Pass(bias, -(bias @ since).T, covariance, up, tilt_u, misfit)


def _weigh(
    information: Array, pull: Array, squares: float, prior: tuple[Array, Array], count: int
) -> tuple[Array, Array, float]:
    """Bias, its covariance and the misfit.

    Where the residual is larger than the model expects, what gravity says is trusted less by
    the ratio of the two (Birge 1932, Phys Rev 40:207-227), so the prior keeps its say.
    """
    expected, certainty = prior
    misfit, distrust = 0.0, 1.0
    for _ in range(3):
        covariance = _inverse(information / distrust + certainty)
        bias = covariance @ (pull / distrust + certainty @ expected)
        misfit = float(squares - 2.0 * bias @ pull + bias @ information @ bias) / count
        if max(misfit, 1.0) == distrust:
            break
        distrust = max(misfit, 1.0)
    return bias, covariance, misfit


def _inverse(matrix: Array) -> Array:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _grid(time_s: Array, rate: Array, reference_s: float) -> _Grid:
    length_s = float(time_s[-1] - time_s[0])
    steps = max(round(length_s / KNOT_S), 3)
    halves_s, half_s = np.linspace(time_s[0], time_s[-1], 2 * steps + 1), 0.5 * length_s / steps
    between = Between.of(halves_s, time_s)
    squared = between(cumulative(time_s, rotation.squared_length(rate)[None])[0])
    around = _root_mean(squared, half_s, max(round(0.5 * SPEED_WITHIN_S / half_s), 1))[::2]
    within = _root_mean(squared, half_s, 1)[2:-1:2]
    drift_variance = RANDOM_DRIFT**2 + (GYRO_SCALE_U * within) ** 2 * SWING_S
    reference = int((reference_s - halves_s[0]) / (2.0 * half_s))
    return _Grid(
        halves_s,
        between,
        (STANDING_SPEED_U + LEVER_M * around) / STANDARD_GRAVITY,
        np.sqrt(drift_variance * 2.0 * half_s),
        min(max(reference, 0), steps - 1),
    )


def _root_mean(cumulative: Array, half_s: float, reach: int) -> Array:
    """Root of the mean within `reach` half steps to either side, (2K + 1,), from the integral."""
    place = np.arange(cumulative.size)
    first, last = np.maximum(place - reach, 0), np.minimum(place + reach, cumulative.size - 1)
    total = np.maximum(cumulative[last] - cumulative[first], 0.0)
    mean: Array = np.sqrt(total / (half_s * (last - first)))
    return mean


def _since_reference(grid: _Grid, turned: Array) -> Array:
    """Integral of the orientation from the reference on, at the knots: (3, 3, K) s.

    By Simpson's rule from knot to knot: to 0.01 % at 800 deg/s.
    """
    axes = rotation.to_matrix(grid.between(turned.T).T).transpose(1, 2, 0)
    added = axes[..., 1:-2:2] + 4.0 * axes[..., 2:-1:2]
    added += axes[..., 3::2]
    since = np.zeros((3, 3, added.shape[-1] + 1))
    np.cumsum(added * (grid.step_s / 6.0), axis=-1, out=since[..., 1:])
    since -= since[..., grid.reference, None].copy()
    return since


def _bias_effect(grid: _Grid, since: Array, direction: Array) -> Array:
    """What one rad/s of bias adds to the summed force: (9, K), of three frame axes each by three
    bias axes.

    A bias turns the frame by -B b, B the integral of the orientation from the reference on, so
    the vertical seems turned by it: f = G - G x (B b).
    """
    # a dead accelerometer has no direction; any will do, nothing is learnt from it
    x, y, z = (direction / max(float(np.linalg.norm(direction)), 1e-9)).tolist()
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    effect: Array = (-grid.step_s * cross) @ since.reshape(3, -1)
    return effect.reshape(9, -1)


class _Smoother:
    """Speeds v at the edges that explain m columns of summed force best, with a slow vertical.

    columns (m, K). With A the model's information on the speeds, banded, and R what the columns
    say of them, v = A^-1 R. A = U^T U: half of the solution, U^-T R, tells all that is asked but
    the vertical itself.
    """

    def __init__(self, grid: _Grid, columns: Array) -> None:
        self._grid, self._columns = grid, columns
        step, weight = grid.step_s, 1.0 / (grid.drift_u * grid.drift_u)
        self._change = (columns[:, 1:] - columns[:, :-1]) / step
        self._pull = weight * self._change
        edges = grid.speed_u.size
        probes = self._probes()
        right = np.zeros((columns.shape[0] + probes.shape[0], edges))
        by_force, pull = right[: columns.shape[0]], self._pull / step
        for k, factor in enumerate((1.0, -2.0, 1.0)):
            by_force[:, k : k + weight.size] += factor * pull
        right[columns.shape[0] :] = probes
        self._root, _ = lapack.dpbtrf(self._information(weight / (step * step)))
        # memory by columns, as LAPACK wants it: worked on in place
        half, _ = lapack.dtbtrs(self._root, right.T, trans="T", overwrite_b=1)
        self._half, self._half_probes = half[:, : columns.shape[0]], half[:, columns.shape[0] :]

    def _information(self, curve: Array) -> Array:
        """A, its upper band (3, K + 1), LAPACK's way."""
        grid = self._grid
        band = np.zeros((3, grid.speed_u.size))
        band[2] = 1.0 / (grid.speed_u * grid.speed_u)
        for k, factor in enumerate((1.0, 4.0, 1.0)):
            band[2, k : k + curve.size] += factor * curve
        band[1, 1:-1] -= 2.0 * curve
        band[1, 2:] -= 2.0 * curve
        band[0, 2:] = curve
        return band

    def _probes(self) -> Array:
        """(p, K + 1): what the vertical on steps of the last BEFORE_S is of the speeds."""
        last, step_s = self._grid.reference, self._grid.step_s
        steps = np.arange(last, max(last - round(BEFORE_S / step_s), 0) - 1, -PROBE_EVERY)
        probes = np.zeros((steps.size, self._grid.speed_u.size))
        rows = np.arange(steps.size)
        probes[rows, steps], probes[rows, steps + 1] = 1.0 / step_s, -1.0 / step_s
        return probes

    def gram(self) -> Array:
        """Products (m, m) of the columns under the model's inverse covariance."""
        product: Array = self._change @ self._pull.T - self._half.T @ self._half
        return product

    def least_variance(self) -> float:
        """Of the vertical on the steps of the probes."""
        return float(np.add.reduce(self._half_probes * self._half_probes).min())

    def vertical(self, mixed: Array) -> Array:
        """Smoothed force on every step, (K, k), in sums of the columns that `mixed` (m, k) says."""
        speed, _ = lapack.dtbtrs(self._root, np.asfortranarray(self._half @ mixed))
        smoothed: Array = (self._columns.T @ mixed - speed[1:] + speed[:-1]) / self._grid.step_s
        return smoothed


def cumulative(time_s: Array, rows: Array) -> Array:
    """Integral (m, n) of rows (m, n) from the first sample on, trapezoids."""
    out = np.zeros(rows.shape)
    pieces = rows[:, 1:] + rows[:, :-1]
    pieces *= 0.5 * (time_s[1:] - time_s[:-1])
    np.cumsum(pieces, axis=1, out=out[:, 1:])
    return out
