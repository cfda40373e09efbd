"""From a device's ticks to session time.

Two clocks know the truth: a source that gives times of its own, and a device whose tick length
and start are given. ArrivalClock learns both from the times of arrival. A source hands a stream's
clock over in StreamStarted; all of them speak the same StreamClock.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sensors.delay_fit import CRYSTAL, SAMPLING, DelayFit
from sensors.errors import SourceError
from sensors.source import Array, SamplePacket
from sensors.stamping import Stamper
from sensors.tick_smoothing import TickSmoother

LATENCY_U_S: Final = 0.0003
"""How much two sensors' least delays differ: unlike filters, firmware, radio stacks. Our own
choice for sensors of one kind; a sync check takes its place."""
SLIDE: Final = 60e-6
"""How fast a hidden wait may change where packets and events keep step: the relative drift of
two crystals of 50 ppm hardly ever exceeds it."""
_U_GRID: Final = 1.19
"""Uncertainties are rounded up to powers of this (the fourth root of 2): stored tables are cut
where the uncertainty changes, and it means nothing that finely."""


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


@dataclass(frozen=True, slots=True)
class SyncCorrection:
    """What a sync check found: offset_s is added to the sensor's times. u_s: its uncertainty."""

    offset_s: float
    u_s: float


class ArrivalClock:
    """Learns a stream's clock from when its packets arrive.

    Session time is the time at which the host could have had a sample at the earliest: the least
    delay, the same for all samples of a sensor, is in it. The uncertainty is that of the time
    against another sensor of the same kind. Memory is bounded.
    """

    def __init__(
        self,
        rate_hz: float,
        *,
        tick_s: float | None = None,
        interval_s: float | None = None,
        delay_s: float = 0.0,
    ) -> None:
        """tick_s: length of a tick; None: the packets' ticks count samples.

        interval_s: the connection interval where it is known. delay_s: how long after the motion
        the sensor's samples show it; their times are earlier by as much.
        """
        self.fit = DelayFit(SAMPLING if tick_s is None else CRYSTAL, interval_s=interval_s)
        self._stamper = Stamper()
        self._smoother = None if tick_s is None else TickSmoother(tick_s, rate_hz)
        self._period_s = 1.0 / rate_hz
        self._delay_s = delay_s
        self._last_tick: int | None = None
        self._sync: SyncCorrection | None = None
        self._sync_fit_u_s = 0.0
        self._sync_at_s = 0.0
        self._received_s = -np.inf

    def session_times(self, packet: SamplePacket) -> tuple[Array, float]:
        """Session time (n,) of a packet's samples, s, and its standard uncertainty, s.

        Raises SourceError for ticks that do not increase: a restarted count is a new stream.
        """
        first, last = int(packet.ticks[0]), int(packet.ticks[-1])
        if last < first or (self._last_tick is not None and first <= self._last_tick):
            raise SourceError(
                f"stream {packet.stream_id}: ticks increase from packet to packet, received "
                f"{first} to {last} after {self._last_tick}; a restarted count is a new stream"
            )
        self._last_tick = last
        self._received_s = max(self._received_s, packet.received_s)
        if self._smoother is None:
            first_s, period_s = first * self._period_s, self._period_s
        else:
            first_s = self._smoother.first_s(packet.ticks, packet.lost_before)
            period_s = self._smoother.period_s
        samples = len(packet.ticks)
        self.fit.add(first_s + (samples - 1) * period_s, self._received_s)
        host_s = float(self.fit.host_s(np.array([first_s]))[0]) - self._delay_s
        if self._sync is not None:
            host_s += self._sync.offset_s
        step_s = period_s * (1.0 + self.fit.rate)
        missing = packet.lost_before > 0
        time_s = self._stamper.times(host_s, step_s, samples, missing=missing)
        return time_s, self._u_s()

    def correct(self, correction: SyncCorrection) -> None:
        """Apply a sync check made just now; times go to the corrected ones without a step.

        A further check saw times that the ones before had corrected: its offset comes on top.
        """
        before_s = 0.0 if self._sync is None else self._sync.offset_s
        self._sync = SyncCorrection(before_s + correction.offset_s, correction.u_s)
        self._sync_fit_u_s = self.fit.u_s
        self._sync_at_s = self._received_s

    def _u_s(self) -> float:
        fit_u_s, apart_u_s = self.fit.u_s, LATENCY_U_S
        if self._sync is not None:
            apart_u_s = self._sync.u_s
            slid_s = SLIDE * (self._received_s - self._sync_at_s)
            fit_u_s = min(slid_s, float(np.hypot(fit_u_s, self._sync_fit_u_s)))
        parts = (fit_u_s, apart_u_s, self._stamper.lag_s)
        u_s = float(np.sqrt(np.sum(np.square(parts))))
        return float(_U_GRID ** np.ceil(np.log(u_s) / np.log(_U_GRID)))
