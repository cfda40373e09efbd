"""All lines that may be the clock, weighed: what delays say and what they leave open.

A line must lie under every packet. How far under is not free either: a packet that comes a
connection interval or more after its line had to wait out a failed event, and few fail. So a line
far below the packets would have many events fail. Where the waits sweep through the interval that
leaves one line, to a part of a millisecond. Where packets keep step with the events the wait is
always the same, and nothing tells a wait of 2 ms from one of 20: then every line in the strip
weighs the same. The weighed mean and its standard deviation (a posterior on a grid) are right in
both cases and between.

A delay is known to within some slack only, and neighbours share it: a clock's ticks are rounded
alike for seconds where sampling nearly keeps step with them. So no line gains or loses by the
slack: it may lie above packets by as much, and a packet has missed an event for sure only where it
is an interval and the slack late - or an interval later than another of the same seconds.

Failures come in bursts, so the share of them is not one number: each stretch has a share of its
own, unknown beforehand (beta-binomial).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from sensors.source import Array

_SLOPES: Final = 21
_DEPTHS: Final = 21
_COARSE: Final = 7
_ABOUT: Final = np.array([-2.5, -1.5, -0.75, 0.0, 0.75, 1.5, 2.5])
_AT_LEAST: Final = 1.0
"""Of the expected slope's standard deviation: slopes closer than this do not miss it."""
_MOST_PASSES: Final = 6
_LEAST_WEIGHT: Final = 1e-4
"""Of the greatest: lines that weigh less are left out of the next pass."""
_FILLED: Final = 0.4
"""Share of the grid, along slopes and along depths, from which on it is fine enough."""
_FAILED, _PASSED = 1, 10
"""Events thought to have failed and passed before a stretch is seen (beta prior): shares of 0 to
50 % are all thinkable, a tenth is usual. Our own choice."""
_COUNTS_FOR: Final = 0.5
"""Of what each packet says: neighbours fail together, by the same obstacle in the way (a tempered
likelihood)."""
_MOST_FAILURES: Final = 3
"""More of one packet count no more: a host that was held up is one cause."""
_SHARP_S: Final = 0.0001
"""How far two delays of the same seconds may be off one against the other: jitter of the host."""
_LOG_GAMMA: Final = gammaln(np.arange(8192.0))
"""Of whole numbers: more than all failures and passes of one stretch."""
_UNUSUAL: Final = 1e-6
"""Weight of a rate far beyond the usual, against that of no error."""


Counts = npt.NDArray[np.int64]


class Spread(NamedTuple):
    """slope, and height of the line at the newest point; u: its standard deviation there.

    slope_u: of the slope; covariance: of height and slope, s.
    """

    slope: float
    height: float
    u: float
    slope_u: float
    covariance: float

    def u_at(self, x: float) -> float:
        """Standard deviation of the line's height at x after the newest point (before: < 0)."""
        variance = self.u**2 + 2.0 * x * self.covariance + (x * self.slope_u) ** 2
        return float(np.sqrt(max(variance, 0.0)))


class Delays(NamedTuple):
    """y (n,): delays of the first packets of events, over device times x (n,).

    open_s (n,): how far off each may be, to both sides, together with its neighbours.
    stretch (n,): counts the stretches over which the share of failures holds, from 0.
    low_x, low_y (m,): what a line must lie under, the newest last. All s of the device's clock.
    interval_s: the connection interval.
    """

    x: Array
    y: Array
    open_s: Array
    stretch: npt.NDArray[np.int64]
    low_x: Array
    low_y: Array
    interval_s: float


@dataclass(frozen=True, slots=True)
class Box:
    """Where lines are looked for: their slopes, and depths under the highest of their slope, s."""

    slope_from: float
    slope_to: float
    depth_from: float
    depth_to: float

    def wider(self, whole: Box) -> Box:
        """Half as large again to each side, within what is possible."""
        slope_more = 0.5 * (self.slope_to - self.slope_from) + 1e-9
        depth_more = 0.5 * (self.depth_to - self.depth_from) + 1e-5
        return Box(
            max(self.slope_from - slope_more, whole.slope_from),
            min(self.slope_to + slope_more, whole.slope_to),
            max(min(self.depth_from, whole.depth_to) - depth_more, whole.depth_from),
            min(self.depth_to + depth_more, whole.depth_to),
        )

    def slopes(self, expected: tuple[float, float]) -> Array:
        """Slopes in the box, with some about the expected one where the others might miss it."""
        even = np.linspace(self.slope_from, self.slope_to, _SLOPES)
        rate, u = expected
        if even[1] - even[0] < _AT_LEAST * u:
            return even
        about = rate + u * _ABOUT
        return np.unique((*even, *about[(about > even[0]) & (about < even[-1])]))

    def depths(self, around: Box | None) -> Array:
        """Depths in the box, and some throughout another."""
        fine = np.linspace(self.depth_from, self.depth_to, _DEPTHS)
        if around is None:
            return fine
        return np.unique((*fine, *np.linspace(around.depth_from, around.depth_to, _COARSE)))

    def within(self, box: Box, whole: Box) -> bool:
        """Whether it does not reach the box's edges, but where these are those of the whole."""
        return bool(
            (self.slope_from > box.slope_from or box.slope_from <= whole.slope_from)
            and (self.slope_to < box.slope_to or box.slope_to >= whole.slope_to)
            and (self.depth_from > box.depth_from or box.depth_from <= whole.depth_from)
            and (self.depth_to < box.depth_to or box.depth_to >= whole.depth_to)
        )

    def fills(self, box: Box) -> bool:
        """Whether it is not much smaller than the box."""
        return self.slope_to - self.slope_from >= _FILLED * (
            box.slope_to - box.slope_from
        ) and self.depth_to - self.depth_from >= _FILLED * (box.depth_to - box.depth_from)


def line_spread(
    delays: Delays,
    expected: tuple[float, float],
    max_rate: float,
    near: Box | None,
    *,
    throughout: bool = True,
) -> tuple[Spread, Box]:
    """The clock's line, and the box of lines that weigh something.

    expected: its rate beforehand and the standard deviation of that; max_rate: the most. near:
    the box of an earlier fit to start from. throughout: look at all depths as well, not only near.
    """
    whole = Box(-max_rate, max_rate, 0.0, delays.interval_s)
    box = whole if near is None else near.wider(whole)
    for _ in range(_MOST_PASSES):
        slopes, depths = box.slopes(expected), box.depths(whole if throughout else None)
        throughout = False
        tops = np.min(delays.low_y - slopes[:, None] * (delays.low_x - delays.low_x[-1]), axis=1)
        weight = _weights(delays, slopes, depths, tops, expected)
        weight *= np.gradient(slopes)[:, None] * np.gradient(depths)
        heavy = weight > _LEAST_WEIGHT * weight.max()
        found = _around(slopes, depths, heavy)
        if not found.within(box, whole):
            box = found.wider(whole)
        elif found.fills(box):
            break
        else:
            box = found
    return _moments(weight, slopes, tops[:, None] - depths), box


def _around(slopes: Array, depths: Array, heavy: Array) -> Box:
    """The box of heavy lines (slopes, depths), with the next ones to each side."""
    ends = []
    for values, axis in ((slopes, 1), (depths, 0)):
        at = np.flatnonzero(heavy.any(axis=axis))
        ends += [values[max(at[0] - 1, 0)], values[min(at[-1] + 1, len(values) - 1)]]
    return Box(*(float(end) for end in ends))


def _weights(
    delays: Delays, slopes: Array, depths: Array, tops: Array, expected: tuple[float, float]
) -> Array:
    """Weight (slopes, depths) of each line, the greatest 1."""
    rate, rate_u = expected
    logs = np.log(np.exp(-0.5 * ((slopes - rate) / rate_u) ** 2) + _UNUSUAL)[:, None]
    over = delays.y - slopes[:, None] * (delays.x - delays.low_x[-1]) - tops[:, None]
    behind = _failed_behind(delays, over)
    surely_over = over - delays.open_s
    least = surely_over.min(axis=0) + depths[0]
    fewest = np.maximum(_failures(least, delays.interval_s), behind.min(axis=0))
    largest = surely_over.max(axis=0) + depths[-1]
    most = np.maximum(_failures(largest, delays.interval_s), behind.max(axis=0))
    # Only where some line sees a failure that another does not is there something to weigh.
    unsure = np.flatnonzero(most > fewest)
    if len(unsure):
        rows, row = np.unique(delays.stretch[unsure], return_inverse=True)
        places = np.searchsorted(rows, delays.stretch)
        inside = np.isin(delays.stretch, rows)
        alike = inside & (most == fewest)
        same = np.bincount(places[alike], fewest[alike], minlength=len(rows)).astype(np.int64)
        failed = same[:, None] + _failed_in(
            surely_over[:, unsure], behind[:, unsure], row, depths, delays.interval_s
        )
        passed = np.bincount(places[inside], minlength=len(rows))
        logs = logs + _COUNTS_FOR * _chance(failed, passed)
    return np.asarray(np.exp(logs - logs.max())) * np.ones(len(depths))


def _failures(over: Array, interval_s: float) -> Counts:
    """How many events a packet that is so much over its line must have missed."""
    return np.clip(np.floor(over / interval_s), 0.0, _MOST_FAILURES).astype(np.int64)


def _failed_behind(delays: Delays, over: Array) -> Counts:
    """Events (slopes, n) that each packet missed whatever the line: over (slopes, n).

    One that is an interval later than another of its stretch has missed one; where that is not
    clear, it is taken so, so that no line gains by it.
    """
    _, starts, place = np.unique(delays.stretch, return_index=True, return_inverse=True)
    later = over - np.minimum.reduceat(over, starts, axis=1)[:, place]
    apart = np.maximum.reduceat(delays.open_s, starts) - np.minimum.reduceat(delays.open_s, starts)
    return _failures(later + apart[place] + _SHARP_S, delays.interval_s)


def _failed_in(
    surely_over: Array, behind: Counts, row: Counts, depths: Array, interval_s: float
) -> Counts:
    """Failures (slopes, rows, depths) of packets: surely_over, behind (slopes, k); row (k,)."""
    slopes, rows = len(surely_over), int(row.max()) + 1
    counts = np.zeros((slopes, rows, len(depths) + 1), dtype=np.int64)
    line = (np.arange(slopes)[:, None] * rows + row) * counts.shape[2]
    for failure in range(1, 1 + _MOST_FAILURES):
        # From this depth on a packet has missed so many.
        first = np.searchsorted(depths, failure * interval_s - surely_over)
        first[behind >= failure] = 0
        counts += np.bincount((line + first).ravel(), minlength=counts.size).reshape(counts.shape)
    return np.cumsum(counts, axis=2)[:, :, :-1]


def _chance(failures: Counts, passed: Counts) -> Array:
    """Log weight (slopes, depths) of failures (slopes, stretches, depths) beside passed ones.

    Each failure is followed by further ones or by passing: a share p that fails has the chance
    p ** failures * (1 - p) ** passed, averaged over p.
    """
    logs = (
        _LOG_GAMMA[_FAILED + failures]
        - _LOG_GAMMA[(_FAILED + _PASSED + passed)[:, None] + failures]
    )
    return np.asarray(logs.sum(axis=1))


def _moments(weight: Array, slopes: Array, heights: Array) -> Spread:
    share = weight / weight.sum()
    height, slope = float(np.sum(share * heights)), float(np.sum(share.sum(axis=1) * slopes))
    up, steep = heights - height, (slopes - slope)[:, None]
    return Spread(
        slope,
        height,
        float(np.sqrt(np.sum(share * up**2))),
        float(np.sqrt(np.sum(share * steep**2))),
        float(np.sum(share * up * steep)),
    )
