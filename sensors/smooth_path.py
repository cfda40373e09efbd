"""Smooth paths of one coordinate through knots: pieces of degree 7, continuous up to the jerk."""

from __future__ import annotations

from collections.abc import Sequence
from math import factorial
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PPoly

Array = npt.NDArray[np.float64]

_ORDERS = 4
"""Value, velocity, acceleration and jerk are given at both ends of a piece."""


class Knot(NamedTuple):
    """A coordinate and its first three derivatives at one time, s; at rest unless said."""

    time_s: float
    value: float
    velocity: float = 0.0
    acceleration: float = 0.0
    jerk: float = 0.0


def _hermite_matrix() -> Array:
    """Coefficients of u^0..u^7 on [0, 1] from the four derivatives at 0 and the four at 1."""
    conditions = np.zeros((2 * _ORDERS, 2 * _ORDERS))
    for order in range(_ORDERS):
        conditions[order, order] = factorial(order)
        for power in range(order, 2 * _ORDERS):
            conditions[_ORDERS + order, power] = factorial(power) / factorial(power - order)
    return np.asarray(np.linalg.inv(conditions), dtype=np.float64)


_HERMITE = _hermite_matrix()


def smooth_path(knots: Sequence[Knot], scale: float = 1.0) -> PPoly:
    """Path through knots of increasing time, multiplied by `scale`; three times differentiable.

    Raises ValueError where the knots' times do not increase.
    """
    rows = np.asarray(knots if len(knots) > 1 else _held(knots[0]), dtype=np.float64)
    time_s = rows[:, 0]
    duration = np.diff(time_s)
    if np.any(duration <= 0.0):
        at = float(time_s[1:][duration <= 0.0][0])
        raise ValueError(f"the knots of a path must increase in time, but not at {at:.6f} s")
    powers = duration[:, None] ** np.arange(_ORDERS)
    conditions = np.hstack((rows[:-1, 1:] * powers, rows[1:, 1:] * powers)) * scale
    rising = (conditions @ _HERMITE.T) / duration[:, None] ** np.arange(2 * _ORDERS)
    return PPoly(np.ascontiguousarray(rising[:, ::-1].T), time_s)


def _held(knot: Knot) -> tuple[Knot, Knot]:
    return knot, Knot(knot.time_s + 1.0, knot.value)


def derivatives(path: PPoly, time_s: Array, highest: int) -> list[Array]:
    """Value and derivatives up to `highest` at time_s (n,); held at rest outside the knots."""
    inside = np.clip(time_s, path.x[0], path.x[-1])
    return [np.asarray(path(inside, nu=order), dtype=np.float64) for order in range(highest + 1)]
