"""How a stream is doing: its rate, its losses, and whether it is silent or slow."""

from __future__ import annotations

from collections import deque
from typing import Final

from sensors.wire import Stream, StreamReport, StreamState

SILENT_S: Final = 1.0
"""No packet for this long is silence: twenty times the longest usual connection interval."""
RATE_WINDOW_S: Final = 3.0
SLOW_BELOW: Final = 0.9
"""Part of the stated rate; a sensor's own clock is off by far less."""


class StreamMonitor:
    """Counts one stream's samples against session time."""

    def __init__(self, stream: Stream, start_s: float) -> None:
        self.stream = stream
        self._start_s = start_s
        self._packets: deque[tuple[float, int]] = deque()
        self._lost = 0
        self._clock_u_s: float | None = None
        self._said: StreamReport | None = None

    def arrived(self, samples: int, received_s: float, *, lost: int, clock_u_s: float) -> None:
        """A packet of `samples` came at session time received_s, `lost` missing before it."""
        self._packets.append((received_s, samples))
        self._lost += lost
        self._clock_u_s = clock_u_s
        while self._packets[0][0] < received_s - RATE_WINDOW_S:
            self._packets.popleft()

    def said(self, report: StreamReport) -> None:
        """What the source itself says of the stream; it holds until samples come again."""
        self._said = report

    def report(self, now_s: float) -> StreamReport:
        """The state at session time now_s."""
        last_s = self._packets[-1][0] if self._packets else self._start_s
        said = self._said
        rate_hz = self._rate_hz(now_s)
        state: StreamState
        if said is not None and said.state == "lost" and last_s <= said.at_s:
            state = "lost"
        elif now_s - last_s > SILENT_S:
            state = "silent"
        elif now_s - self._start_s > RATE_WINDOW_S and rate_hz < SLOW_BELOW * self.stream.rate_hz:
            state = "slow"
        else:
            state = "streaming"
        return StreamReport(
            stream_id=self.stream.stream_id,
            state=state,
            at_s=now_s,
            rate_hz=rate_hz,
            lost=self._lost,
            battery_percent=said.battery_percent if said is not None else None,
            clock_u_s=self._clock_u_s,
        )

    def _rate_hz(self, now_s: float) -> float:
        """Samples over the window that ends now, and that begins no earlier than the stream."""
        span_s = min(RATE_WINDOW_S, now_s - self._start_s)
        count = sum(samples for at_s, samples in self._packets if at_s > now_s - span_s)
        return count / span_s if span_s > 0.0 else 0.0
