"""The straight line under a cloud of points that only noise from above moves.

A packet cannot arrive before it was sent: of the points (device time, receive time) the lowest
tell the clock, the others tell how busy the radio was. Of all lines with no point below them the
one that is closest to all points on average is the edge of the lower convex hull under the
points' mean (a linear programme; the estimate of clock skew from one-way delays by Moon, Skelly
and Towsley, 1999, cited from memory).
"""

from __future__ import annotations

from collections import deque
from typing import Final, NamedTuple

import numpy as np

from sensors.source import Array

BLOCK_S: Final = 5.0
"""Points are kept as lower hulls of stretches this long: few points, and none that could matter
to any later line is dropped."""


class Line(NamedTuple):
    """y = height + slope * (x - at)."""

    at: float
    height: float
    slope: float

    def over(self, x: Array) -> Array:
        """The line's heights over x (n,)."""
        return np.asarray(self.height + self.slope * (x - self.at))


def lower_hull(x: Array, y: Array) -> tuple[Array, Array]:
    """The points of the lower convex hull, by x; x (n,) increasing, equal values allowed."""
    kept: list[tuple[float, float]] = []
    for point in zip(x.tolist(), y.tolist(), strict=True):
        _put(kept, point)
    hull = np.asarray(kept, dtype=np.float64).reshape(-1, 2)
    return hull[:, 0], hull[:, 1]


def envelope_line(x: Array, y: Array, at: float, max_slope: float) -> Line:
    """The line under all points, of slope within +-max_slope, that is highest at `at`.

    x (n,) increasing, y (n,), at least one point. With `at` the mean of x it is the line of the
    least mean distance. Raises ValueError without points.
    """
    if not len(x):
        raise ValueError("a line under points needs at least one point, received none")
    hull_x, hull_y = lower_hull(x, y)
    slopes = np.diff(hull_y) / np.diff(hull_x)
    edge = int(np.clip(np.searchsorted(hull_x, at) - 1, 0, max(len(slopes) - 1, 0)))
    slope = float(np.clip(slopes[edge], -max_slope, max_slope)) if len(slopes) else 0.0
    return Line(at, float(np.min(hull_y - slope * (hull_x - at))), slope)


def _put(hull: list[tuple[float, float]], point: tuple[float, float]) -> None:
    """Add a point to the right of a lower hull; amortised over all points, a constant time."""
    if hull and hull[-1][0] >= point[0]:
        if hull[-1][1] <= point[1]:
            return
        hull.pop()
    while len(hull) >= 2:
        (x1, y1), (x2, y2) = hull[-2:]
        if (y2 - y1) * (point[0] - x2) < (point[1] - y2) * (x2 - x1):
            break
        hull.pop()
    hull.append(point)


class HullWindow:
    """The points of the last span_s that can matter to a line under them, in bounded memory."""

    def __init__(self, span_s: float) -> None:
        self._blocks: deque[list[tuple[float, float]]] = deque()
        self._longest = max(2, int(np.ceil(span_s / BLOCK_S)) + 1)
        self._span_s = span_s

    def add(self, x: float, y: float) -> None:
        """A point; x never decreases."""
        if not self._blocks or x - self._blocks[-1][0][0] >= BLOCK_S:
            self._blocks.append([])
            if len(self._blocks) > self._longest:
                self._blocks.popleft()
        _put(self._blocks[-1], (x, y))

    def points(self) -> tuple[Array, Array]:
        """x (n,), y (n,) within span_s of the newest, each of its block's lower hull."""
        every = np.asarray([p for block in self._blocks for p in block], dtype=np.float64)
        every = every.reshape(-1, 2)
        if len(every):
            every = every[every[:, 0] >= every[-1, 0] - self._span_s]
        return every[:, 0], every[:, 1]
