"""One sensor's clock against the host's, learnt from packets as they arrive.

A packet's delay is receive time minus device time. Its floor moves with the drift of the clock
and with nothing else: the last minutes' packets tell the line of the floor and how well it is
known.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np

from sensors.connection_events import LONGEST_INTERVAL_S, SAME_EVENT_S, connection_interval
from sensors.line_posterior import Delays, Spread, line_spread
from sensors.lower_envelope import HullWindow
from sensors.source import Array

_REFIT_EVERY_S: Final = 1.0
_REFIT_GROWTH: Final = 0.05
"""Early on, a refit each time the stretch has grown by this part."""
_DELAYS: Final = 1024
"""Delays that are kept to weigh lines with."""
_EVENTS: Final = 256
"""Events from which the connection interval is read: 2 to 13 s."""
_NEW_EVENTS: Final = 48
"""The newest of them, from which it is read where all together show none: it has changed."""


@dataclass(frozen=True, slots=True)
class Drift:
    """How a kind of clock may be off: its rate usually by usual_rate, at the most by max_rate.

    window_s: the stretch over which it is taken as straight. wander_per_s: by how much its rate
    may change within a second.
    """

    usual_rate: float
    max_rate: float
    window_s: float
    wander_per_s: float


CRYSTAL = Drift(usual_rate=50e-6, max_rate=1e-3, window_s=300.0, wander_per_s=1e-8)
"""Crystals are good to 50 ppm (link-layer clock, Core Specification, from memory), the low-power
oscillators that stand in for them to 500; they wander by some ppm while a sensor warms up."""
SAMPLING = Drift(usual_rate=5e-3, max_rate=3e-2, window_s=60.0, wander_per_s=3e-7)
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
        self._delays: list[tuple[float, float]] = []
        self._share = 1.0
        self._lot = np.random.default_rng(0)
        self._origin = (0.0, 0.0)
        self._received_s = -np.inf
        self._next_fit_s = -np.inf
        self._at = 0.0
        self._spread: Spread | None = None

    @property
    def rate(self) -> float:
        """Host seconds per device second, less 1."""
        return 0.0 if self._spread is None else self._spread.slope

    @property
    def u_s(self) -> float:
        """Standard uncertainty of host_s near the newest packet, s."""
        return LONGEST_INTERVAL_S if self._spread is None else self._spread.u

    def add(self, device_s: float, received_s: float) -> None:
        """A packet whose newest sample was taken at device_s came at received_s."""
        if self._spread is None:
            self._origin = (device_s, received_s)
        x = device_s - self._origin[0]
        y = received_s - self._origin[1] - x
        if received_s - self._received_s > SAME_EVENT_S:
            self._events.append(received_s)
        self._received_s = received_s
        self._window.add(x, y)
        if self._lot.random() < self._share:
            self._delays.append((x, y))
        if received_s >= self._next_fit_s:
            self._fit(x)
            grown = _REFIT_GROWTH * (received_s - self._origin[1])
            self._next_fit_s = received_s + min(_REFIT_EVERY_S, grown)

    def delay(self, device_s: float, received_s: float) -> float:
        """How long after the floor a packet came, s."""
        return received_s - float(self.host_s(np.array([device_s]))[0])

    def host_s(self, device_s: Array) -> Array:
        """Host time of the floor at device times (n,), after the first packet."""
        assert self._spread is not None
        x = device_s - self._origin[0]
        over = self._spread.height + self._spread.slope * (x - self._at)
        return np.asarray(self._origin[1] + x + over)

    def _fit(self, x_now: float) -> None:
        if not self._given:
            self._read_interval()
        self._thin(x_now)
        low_x, low_y = self._window.points()
        low_y = low_y + 0.5 * self.drift.wander_per_s * (x_now - low_x) ** 2
        kept = np.asarray(self._delays).reshape(-1, 2)
        delays = Delays(kept[:, 0], kept[:, 1], low_x, low_y, self.interval_s or LONGEST_INTERVAL_S)
        self._spread = line_spread(delays, self.drift.usual_rate, self.drift.max_rate, None)
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
        while first < len(self._delays) and self._delays[first][0] < x_now - self.drift.window_s:
            first += 1
        self._delays = self._delays[first:]
        if len(self._delays) > _DELAYS:
            kept = self._lot.random(len(self._delays)) < 0.5
            self._delays = [one for one, stays in zip(self._delays, kept, strict=True) if stays]
            self._share *= 0.5
