"""One sensor's clock against the host's, learnt from packets as they arrive.

A packet's delay is receive time minus device time. Its floor moves with the drift of the clock
and with nothing else: the last minutes' packets tell the line of the floor and how well it is
known.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np

from sensors.connection_events import (
    LONGEST_INTERVAL_S,
    SAME_EVENT_S,
    connection_interval,
    event_times,
)
from sensors.line_posterior import Box, Delays, Spread, line_spread
from sensors.lower_envelope import HullWindow

_REFIT_EVERY_S: Final = 2.5
_REFIT_GROWTH: Final = 0.1
"""Early on, a refit each time the stretch has grown by this part, and by _REFIT_LEAST_S."""
_REFIT_LEAST_S: Final = 0.2
_LOOK_AROUND: Final = 4
"""Every so many refits lines are looked for throughout, not only near those found before."""
_FIRSTS: Final = 512
"""First packets of events that are kept to weigh lines with."""
_EVENTS: Final = 256
"""Events from which the connection interval is read: 2 to 13 s."""
_NEW_EVENTS: Final = 48
"""The newest of them, from which it is read where all together show none: it has changed."""
_STRETCH_S: Final = 3.0
"""Failures keep their share for about so long: people walk into the way and out of it."""
_EDGE_S: Final = 0.00005
"""What is left of jitter and rounding in a delay: one that is later than an interval by no more
than this may have met its event."""
_FLOOR_U_S: Final = 0.00005
"""Standard uncertainty from the same, for a line that rests on few delays."""


@dataclass(frozen=True, slots=True)
class Drift:
    """How a kind of clock may be off: its rate usually by usual_rate, at the most by max_rate.

    window_s: the stretch that is weighed. wander_per_s: by how much its rate may change within a
    second. straight_s: the stretch over which that does not bend it.
    """

    usual_rate: float
    max_rate: float
    window_s: float
    wander_per_s: float
    straight_s: float


CRYSTAL = Drift(
    usual_rate=41e-6, max_rate=1e-3, window_s=300.0, wander_per_s=1e-8, straight_s=100.0
)
"""Crystals are good to 50 ppm (link-layer clock, Core Specification, from memory): one against
another is off by 41 ppm (two even distributions); the low-power oscillators that stand in for them
to 500. They wander by some ppm while a sensor warms up."""
SAMPLING = Drift(usual_rate=1e-2, max_rate=3e-2, window_s=60.0, wander_per_s=3e-7, straight_s=20.0)
"""The sampling oscillator inside a motion sensor: about 1 % off (common practice, no source)."""


class DelayFit:
    """The line under the delays of one stream, and how uncertain it is.

    device_s: the device's count in nominal seconds, increasing; received_s: host time, not
    decreasing. Keeps a bounded number of points, however long the stream.
    """

    def __init__(self, drift: Drift, *, interval_s: float | None = None) -> None:
        """interval_s: the connection interval where it is known; else it is read off."""
        self.drift = drift
        self.interval_s = interval_s
        """None until it was read off."""
        self._given = interval_s is not None
        self._window = HullWindow(drift.window_s)
        self._events: deque[float] = deque(maxlen=_EVENTS)
        self._firsts: list[tuple[float, float, float]] = []
        self._box: Box | None = None
        self._share = 1.0
        self._lot = np.random.default_rng(0)
        self._origin = (0.0, 0.0)
        self._received_s = -np.inf
        self._next_fit_s = -np.inf
        self._at = 0.0
        self._fits = 0
        self._spread: Spread | None = None
        self._expected = (0.0, drift.usual_rate)

    @property
    def rate(self) -> float:
        """Host seconds per device second, less 1."""
        return 0.0 if self._spread is None else self._spread.slope

    @property
    def rate_u(self) -> float:
        """Standard uncertainty of the rate."""
        return self.drift.usual_rate if self._spread is None else self._spread.slope_u

    @property
    def expected_rate_u(self) -> float:
        """Standard uncertainty of the rate by what is known of it beside the packets."""
        return self._expected[1]

    def expect_rate(self, rate: float, u: float) -> None:
        """The rate is known from elsewhere, to a standard uncertainty u; used where it helps."""
        if u < self.drift.usual_rate and abs(rate) < self.drift.max_rate:
            self._expected = (rate, math.hypot(u, self.drift.wander_per_s * self.drift.window_s))

    def u_at(self, device_s: float) -> float:
        """Standard uncertainty of host_s at a device time, s."""
        if self._spread is None:
            return LONGEST_INTERVAL_S
        after_s = device_s - self._origin[0] - self._at
        return math.hypot(self._spread.u_at(after_s), _FLOOR_U_S)

    @property
    def u_s(self) -> float:
        """Standard uncertainty of host_s near the newest packet, s."""
        if self._spread is None:
            return LONGEST_INTERVAL_S
        return math.hypot(self._spread.u, _FLOOR_U_S)

    def add(self, device_s: float, received_s: float, device_u_s: float = 0.0) -> None:
        """A packet whose newest sample was taken at device_s came at received_s.

        device_u_s: standard uncertainty of device_s.
        """
        if self._spread is None:
            self._origin = (device_s, received_s)
        x = device_s - self._origin[0]
        y = received_s - self._origin[1] - x
        self._window.add(x, y + 2.0 * device_u_s)
        if received_s - self._received_s > SAME_EVENT_S:
            self._events.append(received_s)
            if self._lot.random() < self._share:
                self._firsts.append((x, received_s - self._origin[1], 2.0 * device_u_s))
        self._received_s = received_s
        if received_s >= self._next_fit_s:
            self._fit(x)
            grown = _REFIT_GROWTH * (received_s - self._origin[1])
            self._next_fit_s = received_s + min(_REFIT_EVERY_S, max(_REFIT_LEAST_S, grown))

    def host_s(self, device_s: float) -> float:
        """Host time of the floor at a device time, after the first packet."""
        assert self._spread is not None
        x = device_s - self._origin[0]
        over = self._spread.height + self._spread.slope * (x - self._at)
        return self._origin[1] + x + over

    def _fit(self, x_now: float) -> None:
        if not self._given:
            self._read_interval()
        self._thin(x_now)
        low_x, low_y = self._window.points()
        bend = 0.5 * self.drift.wander_per_s
        low_y = low_y + bend * (x_now - low_x) ** 2 + _EDGE_S
        x, arrival_s, open_s = np.asarray(self._firsts).T
        interval_s = self.interval_s or LONGEST_INTERVAL_S
        event_s = arrival_s if self.interval_s is None else event_times(arrival_s, interval_s)
        open_s = open_s + bend * (x_now - x) ** 2 + _EDGE_S
        stretch = np.floor((arrival_s - arrival_s[0]) / _STRETCH_S).astype(np.int64)
        delays = Delays(x, event_s - x, open_s, stretch, low_x, low_y, interval_s)
        self._spread, self._box = line_spread(
            delays,
            self._expected,
            self.drift.max_rate,
            self._box,
            throughout=self._fits % _LOOK_AROUND == 0,
        )
        self._fits += 1
        self._at = x_now

    def _read_interval(self) -> None:
        events = np.asarray(self._events)
        found = connection_interval(events)
        if found is None:
            found = connection_interval(events[-_NEW_EVENTS:])
        if found is not None:
            self.interval_s = found

    def _thin(self, x_now: float) -> None:
        """Drop delays that are too old, and half of them by lot where they are too many.

        By lot: any even choice might see only some of the phases of packets that keep step.
        """
        first = 0
        while first < len(self._firsts) and self._firsts[first][0] < x_now - self.drift.window_s:
            first += 1
        self._firsts = self._firsts[first:]
        if len(self._firsts) > _FIRSTS:
            kept = self._lot.random(len(self._firsts)) < 0.5
            self._firsts = [one for one, stays in zip(self._firsts, kept, strict=True) if stays]
            self._share *= 0.5
