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

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis import rotation
from analysis.integration import integrate
from analysis.pieces import Between, cumulative
from analysis.samples import Array
from analysis.vertical_model import (
    STANDARD_GRAVITY,
    Measured,
    Smoother,
    Stack,
    even_rows,
    stacked,
)

MOST_PASSES = 4
SETTLED = np.radians(4.0)
"""rad over the window; what a smaller last change of bias leaves is of second order: a few percent
of that change, and at the reference nothing."""


@dataclass(frozen=True, slots=True)
class Vertical:
    """Result of `fit_verticals`.

    bias (3,) rad/s still in the rates; bias_covariance (3, 3) (rad/s)^2, sensor axes. turned
    (n, 4): sensor to a frame that is still but for the last small change of that bias; amended
    (K, 4): the turns of that frame into a still one at knots_s (K,) s, see `after_knots`. up
    (K, 3): the vertical at each knot in the still frame, in units of gravity, and mean_up (3,) its
    mean; tilt_u_rad: one standard uncertainty of it, each axis, where it is known best in the
    BEFORE_S before the reference. misfit: mean squared residual over what the model expects; far
    above 1, gyro and accelerometer contradict each other.
    """

    bias: Array
    bias_covariance: Array
    turned: Array
    knots_s: Array
    amended: Array
    up: Array
    mean_up: Array
    tilt_u_rad: float
    misfit: float


@dataclass(frozen=True, slots=True)
class _Pass:
    """One least-squares solution of S windows, linear about the orientations it was given.

    bias (S, 3) rad/s; covariance (S, 3, 3); amended (S, K, 3) rad: small turns of those
    orientations at the knots, in their frame, by which they follow from the better bias, none at
    the reference; up (S, K, 3); tilt_u, misfit (S,).
    """

    bias: Array
    covariance: Array
    amended: Array
    up: Array
    tilt_u: Array
    misfit: Array


def fit_verticals(windows: Sequence[Measured]) -> list[Vertical]:
    """Least-squares vertical and gyro bias over each window, by itself.

    Repeated about the better orientation until the bias stays.
    """
    if len({window.steps for window in windows}) > 1:
        return [found for window in windows for found in fit_verticals([window])]
    stack = stacked(windows)
    turned = [integrate(window.time_s, window.rate) for window in windows]
    thinned = [one[window.thinned] for one, window in zip(turned, windows, strict=True)]
    found = _pass(stack, thinned, np.zeros((len(windows), 3)))
    return [
        _settled(window, stack, number, turned[number], found)
        for number, window in enumerate(windows)
    ]


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


def _settled(window: Measured, stack: Stack, number: int, turned: Array, found: _Pass) -> Vertical:
    """One window's result, after passes of its own where the first of all was not enough."""
    bias, length_s = np.zeros(3), float(window.time_s[-1] - window.time_s[0])
    for _ in range(MOST_PASSES - 1):
        change = found.bias[number]
        if math.sqrt(change @ change) * length_s < SETTLED:
            break
        bias = bias + change
        turned = integrate(window.time_s, window.rate - bias)
        stack, number = stack.of(number), 0
        found = _pass(stack, [turned[window.thinned]], bias[None])
    return Vertical(
        bias + found.bias[number],
        found.covariance[number],
        turned,
        stack.halves_s[number, 1::2],
        _small_turns(found.amended[number]),
        found.up[number],
        found.up[number].mean(axis=0),
        float(found.tilt_u[number]),
        float(found.misfit[number]),
    )


def _small_turns(by: Array) -> Array:
    """Quaternions (K, 4) of small turns (K, 3) rad.

    What this leaves out is of second order in the turn, as in the solution itself.
    """
    turns = np.ones((by.shape[0], 4))
    turns[:, 1:] = 0.5 * by
    return rotation.normalise(turns)


def _pass(stack: Stack, turned: Sequence[Array], bias: Array) -> _Pass:
    """turned: sensors to frames (n, 4), thinned, by rates without the bias (S, 3) found so far."""
    placed = even_rows([one.T for one in turned], stack.time_s.shape[1])
    still = rotation.rotate(placed.transpose(1, 2, 0), stack.force.transpose(1, 2, 0))
    until = stack.at_halves(cumulative(stack.time_s, still.transpose(2, 0, 1)))[..., ::2]
    summed = (until[..., 1:] - until[..., :-1]) / STANDARD_GRAVITY
    since = _since_reference(stack, placed)
    columns = np.concatenate((summed, _bias_effect(stack, since, summed.sum(axis=-1))))
    smoother = Smoother(stack, columns)
    found, covariance, misfit = _weigh(smoother.gram(), (-bias, stack.certainty), stack)
    # the vertical on each axis: the force there, less what the biases add to it
    mixed = np.zeros((len(turned), 3, 12))
    for axis in range(3):
        mixed[:, axis, axis], mixed[:, axis, 3 + 3 * axis : 6 + 3 * axis] = 1.0, -found
    tilt_u = np.sqrt(smoother.least_variance() * np.maximum(misfit, 1.0))
    amended = -np.add.reduce(since * found.T[:, :, None], axis=1).transpose(1, 2, 0)
    return _Pass(found, covariance, amended, smoother.vertical(mixed), tilt_u, misfit)


def _weigh(gram: Array, prior: tuple[Array, Array], stack: Stack) -> tuple[Array, Array, Array]:
    """Bias (S, 3), its covariance (S, 3, 3) and the misfit (S,).

    gram (S, 12, 12): of the summed force on three axes, and of the effects on each of them of three
    biases. prior: expected bias (S, 3), still in the orientations, and its information (S, 3, 3).
    Where the residual is larger than the model expects, what gravity says is trusted less by
    the ratio of the two (Birge 1932, Phys Rev 40:207-227), so the prior keeps its say.
    """
    expected, certainty = prior
    information = gram[:, 3:6, 3:6] + gram[:, 6:9, 6:9] + gram[:, 9:, 9:]
    pull = (gram[:, 3:6, 0] + gram[:, 6:9, 1] + gram[:, 9:, 2])[..., None]
    squares = gram[:, 0, 0] + gram[:, 1, 1] + gram[:, 2, 2]
    known, count = certainty @ expected[..., None], 3.0 * stack.drift_u.shape[1]
    distrust = np.ones(squares.size)
    for _ in range(3):
        share = 1.0 / distrust[:, None, None]
        covariance = np.asarray(np.linalg.inv(information * share + certainty), dtype=np.float64)
        bias = covariance @ (pull * share + known)
        left = np.add.reduce(bias * (information @ bias - 2.0 * pull), axis=1)[:, 0]
        misfit = (squares + left) / count
        trusted, distrust = distrust, np.maximum(misfit, 1.0)
        if (trusted == distrust).all():
            break
    return bias[..., 0], covariance, misfit


def _since_reference(stack: Stack, placed: Array) -> Array:
    """Integral of orientations (4, S, m) from the reference on, at the knots: (3, 3, S, K) s, frame
    axis by sensor axis.

    By Simpson's rule from knot to knot: to 0.01 % at 800 deg/s.
    """
    halves = stack.at_halves(placed).transpose(1, 2, 0)
    axes = rotation.to_matrix(halves).transpose(2, 3, 0, 1)
    added = axes[..., 1:-2:2] + 4.0 * axes[..., 2:-1:2]
    added += axes[..., 3::2]
    added *= stack.step_s / 6.0
    since = np.zeros((*added.shape[:-1], added.shape[-1] + 1))
    np.cumsum(added, axis=-1, out=since[..., 1:])
    number = np.arange(stack.reference.size)
    since -= since[:, :, number, stack.reference][..., None]
    return since


def _bias_effect(stack: Stack, since: Array, direction: Array) -> Array:
    """What one rad/s of bias adds to the summed force: (9, S, K), of three frame axes each by three
    bias axes; direction (3, S) along the vertical.

    A bias turns the frame by -B b, B the integral of the orientation from the reference on, so
    the vertical seems turned by it: f = G - G x (B b).
    """
    # a dead accelerometer has no direction; any will do, nothing is learnt from it
    length = np.maximum(np.sqrt(np.add.reduce(direction * direction)), 1e-9)
    unit = (direction / length * -stack.step_s[:, 0])[:, None, :, None]
    effect: Array = rotation.cross(unit, since)
    return effect.reshape(9, *effect.shape[2:])
