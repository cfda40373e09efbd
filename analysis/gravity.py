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
from scipy.linalg import solveh_banded

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
COARSE_S = 0.025
"""s between the orientations whose sum tells the effect of bias: a percent of it at 800 deg/s."""


@dataclass(frozen=True, slots=True)
class Vertical:
    """Result of `fit_vertical`.

    bias (3,) rad/s still in the rates; bias_covariance (3, 3) (rad/s)^2, sensor axes. turned
    (n, 4): sensor to a still frame, from the rates without that bias. knots_s (K,) s; up (K, 3):
    the vertical at each knot in that frame, in units of gravity; tilt_u_rad: one standard
    uncertainty of it, each axis, where it is known best in the BEFORE_S before the reference.
    misfit: mean squared residual over what the model expects; far above 1, gyro and accelerometer
    contradict each other.
    """

    bias: Array
    bias_covariance: Array
    turned: Array
    knots_s: Array
    up: Array
    tilt_u_rad: float
    misfit: float


@dataclass(frozen=True, slots=True)
class _Grid:
    """edges (K + 1,) s; speed_u (K + 1,) at edges, in s (m/s over g); drift_u (K - 1,) rad."""

    edges: Array
    speed_u: Array
    drift_u: Array

    @property
    def step_s(self) -> float:
        return float(self.edges[1] - self.edges[0])

    @property
    def middles(self) -> Array:
        return 0.5 * (self.edges[1:] + self.edges[:-1])


@dataclass(frozen=True, slots=True)
class _Window:
    """time_s (n,) s; force (n, 3) m/s^2, sensor axes; reference: a row."""

    time_s: Array
    force: Array
    reference: int


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
    window = _Window(time_s[rows], force[rows], reference // rows.step)
    grid = _grid(window.time_s, rate[rows])
    prior = _inverse(bias_covariance)
    bias, turned = np.zeros(3), integrate(time_s, rate)
    found = _pass(window, grid, turned[rows], (-bias, prior))
    for _ in range(MOST_PASSES - 1):
        if np.linalg.norm(found.bias) * (time_s[-1] - time_s[0]) < SETTLED:
            break
        bias = bias + found.bias
        turned = integrate(time_s, rate - bias)
        found = _pass(window, grid, turned[rows], (-bias, prior))
    return Vertical(
        bias + found.bias,
        found.covariance,
        _amended(time_s, turned, grid.middles, found.amended),
        grid.middles,
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


def _amended(time_s: Array, turned: Array, knots_s: Array, by: Array) -> Array:
    """Orientations (n, 4) after small turns `by` (K, 3) rad in their frame, linear between knots.

    What this leaves out is of second order in the turn, as in the solution itself.
    """
    small = np.empty_like(turned)
    small[:, 0] = 1.0
    for k in range(3):
        small[:, k + 1] = np.interp(time_s, knots_s, 0.5 * by[:, k])
    return rotation.normalise(rotation.multiply(small, turned))


def _pass(window: _Window, grid: _Grid, turned: Array, prior: tuple[Array, Array]) -> _Pass:
    """prior: expected bias (3,) still in `turned`, and its information matrix (3, 3)."""
    time_s = window.time_s
    still = rotation.rotate(turned, window.force) / STANDARD_GRAVITY
    until = _at(grid.edges, time_s, _cumulative(time_s, still.T))
    summed = (until[:, 1:] - until[:, :-1]).T
    since = _since_reference(window, grid, turned)
    effect = _bias_effect(grid, since, summed.sum(axis=0))
    columns = np.concatenate((summed, effect.reshape(-1, 9)), axis=1)
    probes = _probes(grid, float(time_s[window.reference]))
    velocity, gram, variances = _smooth(grid, columns, probes)
    information = np.einsum("aiaj->ij", gram[3:, 3:].reshape(3, 3, 3, 3))
    pull = np.einsum("aia->i", gram[3:, :3].reshape(3, 3, 3))
    squares = float(np.trace(gram[:3, :3]))
    bias, covariance, misfit = _weigh(information, pull, squares, prior, 3 * grid.drift_u.size)
    smoothed = (columns - velocity[1:] + velocity[:-1]) / grid.step_s
    up = smoothed[:, :3] - smoothed[:, 3:].reshape(-1, 3, 3) @ bias
    tilt_u = float(np.sqrt(variances.min() * max(misfit, 1.0)))
    return _Pass(bias, -since @ bias, covariance, up, tilt_u, misfit)


def _weigh(
    information: Array, pull: Array, squares: float, prior: tuple[Array, Array], count: int
) -> tuple[Array, Array, float]:
    """Bias, its covariance and the misfit.

    Where the residual is larger than the model expects, what gravity says is trusted less by
    the ratio of the two (Birge 1932, Phys Rev 40:207-227), so the prior keeps its say.
    """
    expected, certainty = prior
    misfit, bias, covariance = 1.0, expected, certainty
    for _ in range(3):
        covariance = _inverse(information / max(misfit, 1.0) + certainty)
        bias = covariance @ (pull / max(misfit, 1.0) + certainty @ expected)
        misfit = float(squares - 2.0 * bias @ pull + bias @ information @ bias) / count
    return bias, covariance, misfit


def _inverse(matrix: Array) -> Array:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _grid(time_s: Array, rate: Array) -> _Grid:
    length = float(time_s[-1] - time_s[0])
    edges = np.linspace(time_s[0], time_s[-1], max(round(length / KNOT_S), 3) + 1)
    squared = _cumulative(time_s, rotation.squared_length(rate)[None])
    around = _root_mean(time_s, squared, edges, SPEED_WITHIN_S)
    within = _root_mean(time_s, squared, edges[1:-1], float(edges[1] - edges[0]))
    drift_variance = RANDOM_DRIFT**2 + (GYRO_SCALE_U * within) ** 2 * SWING_S
    return _Grid(
        edges,
        (STANDING_SPEED_U + LEVER_M * around) / STANDARD_GRAVITY,
        np.sqrt(drift_variance * float(edges[1] - edges[0])),
    )


def _root_mean(time_s: Array, cumulative: Array, centre: Array, width_s: float) -> Array:
    first = np.clip(centre - 0.5 * width_s, time_s[0], time_s[-1])
    last = np.clip(centre + 0.5 * width_s, time_s[0], time_s[-1])
    total = _at(last, time_s, cumulative) - _at(first, time_s, cumulative)
    mean: Array = np.sqrt(np.maximum(total[0], 0.0) / (last - first))
    return mean


def _since_reference(window: _Window, grid: _Grid, turned: Array) -> Array:
    """Integral of the orientation from the reference on, at the knots: (K, 3, 3) s."""
    every = max(
        round(COARSE_S * (window.time_s.size - 1) / (window.time_s[-1] - window.time_s[0])), 1
    )
    time_s = window.time_s[::every]
    summed = _cumulative(time_s, rotation.to_matrix(turned[::every]).reshape(-1, 9).T)
    since = _at(np.append(grid.middles, window.time_s[window.reference]), time_s, summed)
    return (since[:, :-1] - since[:, -1:]).T.reshape(-1, 3, 3)


def _bias_effect(grid: _Grid, since: Array, direction: Array) -> Array:
    """What one rad/s of bias adds to the summed force: (K, 3, 3), frame axis by bias axis.

    A bias turns the frame by -B b, B the integral of the orientation from the reference on, so
    the vertical seems turned by it: f = G - G x (B b).
    """
    # a dead accelerometer has no direction; any will do, nothing is learnt from it
    x, y, z = direction / max(float(np.linalg.norm(direction)), 1e-9)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    effect: Array = -grid.step_s * cross @ since
    return effect


def _probes(grid: _Grid, until_s: float) -> Array:
    """(K + 1, m): what the vertical on each step of the last BEFORE_S is of the speeds at edges."""
    last = int(np.clip(np.searchsorted(grid.edges, until_s) - 1, 0, grid.edges.size - 2))
    first = max(last - round(BEFORE_S / grid.step_s), 0)
    steps = np.arange(first, last + 1)
    probes = np.zeros((grid.edges.size, steps.size))
    probes[steps, steps - first] = 1.0 / grid.step_s
    probes[steps + 1, steps - first] = -1.0 / grid.step_s
    return probes


def _smooth(grid: _Grid, columns: Array, probes: Array) -> tuple[Array, Array, Array]:
    """Speeds (K + 1, m) that explain the columns (K, m) best, with a slow vertical.

    Returns also the Gram matrix (m, m) of the columns under the model's inverse covariance, and
    the variance of each probe . speed.
    """
    step, weight = grid.step_s, 1.0 / (grid.drift_u * grid.drift_u)
    change = (columns[1:] - columns[:-1]) / step
    curve = weight / (step * step)
    band = np.zeros((3, grid.edges.size))
    band[2] = 1.0 / (grid.speed_u * grid.speed_u)
    for k, factor in enumerate((1.0, 4.0, 1.0)):
        band[2, k : k + curve.size] += factor * curve
    band[1, 1:-1] -= 2.0 * curve
    band[1, 2:] -= 2.0 * curve
    band[0, 2:] = curve
    right = np.zeros((grid.edges.size, columns.shape[1]))
    pull = weight[:, None] * change / step
    for k, factor in enumerate((1.0, -2.0, 1.0)):
        right[k : k + curve.size] += factor * pull
    solved = solveh_banded(band, np.concatenate((right, probes), axis=1))
    velocity, carried = solved[:, : columns.shape[1]], solved[:, columns.shape[1] :]
    gram = change.T @ (weight[:, None] * change) - right.T @ velocity
    return velocity, gram, np.sum(probes * carried, axis=0)


def _cumulative(time_s: Array, rows: Array) -> Array:
    """Integral (m, n) of rows (m, n) from the first sample on, trapezoids."""
    out = np.zeros(rows.shape)
    pieces = rows[:, 1:] + rows[:, :-1]
    pieces *= 0.5 * (time_s[1:] - time_s[:-1])
    np.cumsum(pieces, axis=1, out=out[:, 1:])
    return out


def _at(wanted_s: Array, time_s: Array, rows: Array) -> Array:
    """Rows (m, n) at other times, linear in between, level beyond the ends: (m, k)."""
    return np.array([np.interp(wanted_s, time_s, row) for row in rows])
