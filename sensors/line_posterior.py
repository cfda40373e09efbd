"""All lines that may be the clock, weighed: what delays say and what they leave open.

A line must lie under every packet. How far under is not free either: a packet that comes a
connection interval or more after its line had to wait out a failed event, and few fail. So a line
far below the packets would have many events fail. Where the waits sweep through the interval that
leaves one line, to a part of a millisecond. Where packets keep step with the events the wait is
always the same, and nothing tells a wait of 2 ms from one of 20: then every line in the strip
weighs the same. The weighed mean and its standard deviation (a posterior on a grid) are right in
both cases and between.

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
_MOST_PASSES: Final = 6
_LEAST_WEIGHT: Final = 1e-4
"""Of the greatest: lines that weigh less are left out of the next pass."""
_FILLED: Final = 0.4
"""Share of the grid, along slopes and along depths, from which on it is fine enough."""
_FAILED, _PASSED = 1.0, 10.0
"""Events thought to have failed and passed before a stretch is seen (beta prior): shares of 0 to
50 % are all thinkable, a tenth is usual. Our own choice."""
_COUNTS_FOR: Final = 0.5
"""Of what each packet says: neighbours err together, by the same rounding of ticks and the same
obstacle in the way (a tempered likelihood)."""
_USUAL_SHARE: Final = _FAILED / (_FAILED + _PASSED)
_MOST_FAILURES: Final = 3
"""More of one packet count no more: a host that was held up is one cause."""
_UNUSUAL: Final = 1e-3
"""Weight of a rate far beyond the usual, against that of no error."""


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

    open_s (n,): how far off each may be, to both sides.
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

    def slopes(self) -> Array:
        """Slopes in the box."""
        return np.linspace(self.slope_from, self.slope_to, _SLOPES)

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
    delays: Delays, usual_rate: float, max_rate: float, near: Box | None, *, throughout: bool = True
) -> tuple[Spread, Box]:
    """The clock's line, and the box of lines that weigh something.

    usual_rate: standard deviation of its rate's error beforehand; max_rate: the most. near: the
    box of an earlier fit to start from. throughout: look at all depths as well, not only near.
    """
    whole = Box(-max_rate, max_rate, 0.0, delays.interval_s)
    box = whole if near is None else near.wider(whole)
    for _ in range(_MOST_PASSES):
        slopes, depths = box.slopes(), box.depths(whole if throughout else None)
        throughout = False
        tops = np.min(delays.low_y - slopes[:, None] * (delays.low_x - delays.low_x[-1]), axis=1)
        weight = _weights(delays, slopes, depths, tops, usual_rate) * np.gradient(depths)
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


def _weights(delays: Delays, slopes: Array, depths: Array, tops: Array, usual_rate: float) -> Array:
    """Weight (slopes, depths) of each line, the greatest 1."""
    now, interval_s = float(delays.low_x[-1]), delays.interval_s
    over = delays.y - slopes[:, None] * (delays.x - now) - tops[:, None]
    least, most = over.min(axis=0) + depths[0], over.max(axis=0) + depths[-1]
    logs = np.zeros((len(slopes), len(depths)))
    borders_s = interval_s * np.arange(1 + _MOST_FAILURES)[:, None]
    unsure = (least < borders_s + delays.open_s) & (most > borders_s - delays.open_s)
    sure = least >= borders_s + delays.open_s
    part = _share_over(over, depths, delays.open_s, unsure[0])
    logs += np.log(np.maximum(part, _LEAST_WEIGHT)).sum(axis=2)
    # Only where some line sees a failure that another does not is there something to weigh.
    touched = np.unique(delays.stretch[unsure[1:].any(axis=0)])
    if len(touched):
        row = np.searchsorted(touched, delays.stretch)
        row[~np.isin(delays.stretch, touched)] = len(touched)
        failed = np.zeros((len(slopes), len(depths), len(touched) + 1))
        for border_s, some, all_ in zip(borders_s[1:, 0], unsure[1:], sure[1:], strict=True):
            part = _share_over(over - border_s, depths, delays.open_s, some)
            # One that may have met its event or not weighs as both, not as half a failure.
            part = np.log1p(part * (_USUAL_SHARE - 1.0)) / np.log(_USUAL_SHARE)
            failed += part @ np.eye(len(touched) + 1)[row[some]]
            failed += np.bincount(row[all_], minlength=len(touched) + 1)
        passed = np.bincount(row, minlength=len(touched) + 1)
        logs += _chance(failed[:, :, :-1], passed[:-1])
    logs *= _COUNTS_FOR
    usual = np.exp(-0.5 * (slopes / usual_rate) ** 2) + _UNUSUAL
    logs += np.log(usual)[:, None]
    return np.asarray(np.exp(logs - logs.max()))


def _share_over(over: Array, depths: Array, open_s: Array, which: Array) -> Array:
    """How surely (slopes, depths, k) the k packets in question are over a border, 0 to 1."""
    part = over[:, None, which] + depths[:, None]
    part /= 2.0 * open_s[which]
    part += 0.5
    return np.clip(part, 0.0, 1.0, out=part)


def _chance(failures: Array, passed: npt.NDArray[np.int64]) -> Array:
    """Log weight (slopes, depths) of failures (slopes, depths, stretches) beside passed ones.

    Each failure is followed by further ones or by passing: a share p that fails has the chance
    p ** failures * (1 - p) ** passed, averaged over p.
    """
    logs = gammaln(_FAILED + failures) - gammaln(_FAILED + _PASSED + passed + failures)
    return np.asarray(logs.sum(axis=2))


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
