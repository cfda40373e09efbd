"""All lines that may be the clock, weighed: what delays say and what they leave open.

A line must lie under every packet. How far under is not free either: a packet that comes a
connection interval or more after its line was sent again, and few are. So a line far below the
packets would have many of them sent again. Where the waits sweep through the interval that leaves
one line, to a part of a millisecond. Where packets keep step with the events the wait is always
the same, and nothing tells a wait of 2 ms from one of 20: then every line in the strip weighs the
same. The weighed mean and its standard deviation (a posterior on a grid) are right in both cases
and between.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from sensors.source import Array

_SLOPES: Final = 41
_DEPTHS: Final = 48
_PASSES: Final = 3
_REACH: Final = 4.0
"""Standard deviations to both sides that the next pass looks at."""
_MOST_AGAIN: Final = 3.0
"""A packet counts as sent again so often at the most: events that fail one after the other, or a
host that was held up, have one cause."""
_AGAIN: Final = float(np.log(0.5))
"""Weight of each further time: failures come in bursts."""
_LEAST_LOSS: Final = 0.1
"""Share of packets sent again that is thought possible in any case."""


class Spread(NamedTuple):
    """slope, and height of the line at the newest point; u: its standard deviation there."""

    slope: float
    height: float
    u: float
    slope_u: float


class Delays(NamedTuple):
    """Delays y over device times x, s; low_x, low_y: those that a line must lie under.

    The newest is last. interval_s: the connection interval.
    """

    x: Array
    y: Array
    low_x: Array
    low_y: Array
    interval_s: float


def line_spread(delays: Delays, usual_rate: float, max_rate: float, near: Spread | None) -> Spread:
    """The clock's line. usual_rate, max_rate: how far off its rate is usually, and at the most.

    near: an earlier result to start from. Cost: some 10^5 operations.
    """
    now = float(delays.low_x[-1])
    span_s = max(now - float(delays.low_x[0]), 1e-3)
    widest = min(max_rate, 2.0 * delays.interval_s / span_s)
    centre = _slope_below(delays) if near is None else near.slope
    half = widest if near is None else min(widest, 3.0 * _REACH * near.slope_u + 1e-7)
    found = near
    for _ in range(_PASSES):
        slopes = np.linspace(max(-max_rate, centre - half), min(max_rate, centre + half), _SLOPES)
        found = _weighed(delays, slopes, now, usual_rate)
        step = float(slopes[1] - slopes[0])
        half = _REACH * max(found.slope_u, step)
        centre = found.slope
    assert found is not None
    return found


def _slope_below(delays: Delays) -> float:
    """A first slope: between the lowest delay of the earlier half and that of the later."""
    x, y = delays.low_x, delays.low_y
    early = x <= 0.5 * (x[0] + x[-1])
    if early.all() or not early.any():
        return 0.0
    first, last = int(np.argmin(y[early])), int(np.argmin(y[~early]))
    return float((y[~early][last] - y[early][first]) / (x[~early][last] - x[early][first]))


def _weighed(delays: Delays, slopes: Array, now: float, usual_rate: float) -> Spread:
    interval_s = delays.interval_s
    tops = np.min(delays.low_y - slopes[:, None] * (delays.low_x - now), axis=1)
    over = delays.y - slopes[:, None] * (delays.x - now) - tops[:, None]
    over = np.maximum(over, 0.0) / interval_s
    again = np.floor(over)
    rests = over - again
    order = np.argsort(rests, axis=1)
    rests = np.take_along_axis(rests, order, axis=1)
    # Depths below the highest line: fine where the packets are dense, out to a whole interval.
    count = len(delays.x)
    depths = np.concatenate(([0.0], np.geomspace(0.02 / (count + 20.0), 1.0, _DEPTHS)))
    first = np.count_nonzero(again > 0.0, axis=1)
    loss = np.log(np.clip(first.min() / count, _LEAST_LOSS, 0.5))
    known = first * loss + _AGAIN * np.clip(again - 1.0, 0.0, _MOST_AGAIN - 1.0).sum(axis=1)
    further = np.where(again == 0.0, loss, np.where(again < _MOST_AGAIN, _AGAIN, 0.0))
    further = np.take_along_axis(further, order, axis=1)
    sums = np.concatenate((np.zeros((len(slopes), 1)), np.cumsum(further[:, ::-1], axis=1)), axis=1)
    crossed = np.stack([count - np.searchsorted(row, 1.0 - depths) for row in rests])
    weight = known[:, None] + np.take_along_axis(sums, crossed, axis=1)
    weight = weight - np.log1p((slopes[:, None] / usual_rate) ** 2)
    weight = np.exp(weight - weight.max()) * np.gradient(depths)
    weight /= weight.sum()
    heights = tops[:, None] - depths * interval_s
    height = float(np.sum(weight * heights))
    slope = float(np.sum(weight.sum(axis=1) * slopes))
    u = np.sqrt(np.sum(weight * (heights - height) ** 2))
    slope_u = np.sqrt(np.sum(weight.sum(axis=1) * (slopes - slope) ** 2))
    return Spread(slope, height, float(u), float(slope_u))
