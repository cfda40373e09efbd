"""From a device's ticks to session time.

The clocks here know the truth: a source that gives times of its own, and a device whose tick
length and start are given. A clock that learns both from the times of arrival belongs beside
them and is handed over by the source in the same way, in StreamStarted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensors.errors import SourceError
from sensors.source import Array, SamplePacket


@dataclass(frozen=True, slots=True)
class SourceClock:
    """Takes the times that the source gives, as a recording does. u_s: their uncertainty, s."""

    u_s: float = 0.0

    def session_times(self, packet: SamplePacket) -> tuple[Array, float]:
        """The packet's own times to the bit. Raises SourceError where it has none."""
        if packet.time_s is None:
            raise SourceError(f"stream {packet.stream_id} gives no times of its own; use its ticks")
        return packet.time_s, self.u_s


@dataclass(frozen=True, slots=True)
class TickClock:
    """A straight line: session time = start_s + ticks * tick_s, with no drift. u_s in s."""

    tick_s: float
    start_s: float = 0.0
    u_s: float = 0.0

    def session_times(self, packet: SamplePacket) -> tuple[Array, float]:
        """Session time of each tick on the line."""
        return self.start_s + packet.ticks.astype(np.float64) * self.tick_s, self.u_s
