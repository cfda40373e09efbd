"""From a device's ticks to session time.

Two clocks know the truth: a source that gives times of its own, and a device whose tick length
and start are given. ArrivalClock learns both from the times of arrival. A source hands a stream's
clock over in StreamStarted; all of them speak the same StreamClock.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
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
_ROUNDED_U_S: Final = 0.0001
"""What the rounding of ticks to 1 ms leaves between a moment then and one now, s: 0.07 ms each."""
_NOTED_EVERY_S: Final = 0.2
_NOTED: Final = 4096
"""Times given are remembered for 14 minutes: a sync check may have to wait for the line."""
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
    """What a sync check found: offset_s is added to the sensor's times. u_s: its uncertainty.

    start_s, end_s: the session times, as they were given then, that were compared; None: the
    newest alone. other_rate_u: standard uncertainty of the rate of the clock compared with.
    """

    offset_s: float
    u_s: float
    start_s: float | None = None
    end_s: float | None = None
    other_rate_u: float = 0.0


class Pin:
    """A moment at which a clock is known, and what its fit says of the time since then.

    The fit goes on learning where its floor was then, from packets before and after; once these
    are too long ago, what it last said stands. Times since then are right but for the difference
    of the floor's errors now and then.
    """

    def __init__(self, fit: DelayFit, device_s: float, host_s: float, u_s: float) -> None:
        """The clock shows host_s at device_s; u_s: standard uncertainty of that."""
        self.u_s = u_s
        self._fit = fit
        self._device_s = device_s
        self._right_s = host_s
        self._floor_s, self._floor_u_s = 0.0, 0.0

    def host_s(self, floor_s: float, device_s: float) -> float:
        """The pinned clock's time where the fit's floor is at floor_s."""
        if device_s - self._device_s <= self._fit.drift.straight_s:
            self._floor_s = self._fit.host_s(self._device_s)
            self._floor_u_s = self._fit.u_at(self._device_s)
        return self._right_s + floor_s - self._floor_s

    def rate_since(self, before: Pin) -> tuple[float, float]:
        """Host seconds per device second since an earlier pin, less 1, and its uncertainty."""
        since_s = max(self._device_s - before._device_s, 1e-3)
        rate = (self._right_s - before._right_s) / since_s - 1.0
        return rate, math.hypot(self.u_s, before.u_s) / since_s

    def moved_u_s(self, device_s: float) -> float:
        """Standard uncertainty of the time since then, s."""
        since_s = device_s - self._device_s
        slid_s = self._fit.expected_rate_u * since_s
        if since_s <= self._fit.drift.straight_s:
            slid_s = min(slid_s, self._fit.rate_u * since_s)
        moved_s = min(slid_s, math.hypot(self._fit.u_s, self._floor_u_s))
        return math.hypot(moved_s, _ROUNDED_U_S)


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
        self._pin: Pin | None = None
        self._newest_s = 0.0
        self._received_s = -np.inf
        self._given: deque[tuple[float, float]] = deque(maxlen=_NOTED)

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
            first_s, period_s, tick_u_s = first * self._period_s, self._period_s, 0.0
        else:
            first_s = self._smoother.first_s(packet.ticks, packet.lost_before)
            period_s, tick_u_s = self._smoother.period_s, self._smoother.unsettled_s
        samples = len(packet.ticks)
        self._newest_s = first_s + (samples - 1) * period_s
        self.fit.add(self._newest_s, self._received_s, tick_u_s)
        host_s = self._host_s(first_s)
        step_s = period_s * (1.0 + self.fit.rate)
        missing = packet.lost_before > 0
        time_s = self._stamper.times(host_s, step_s, samples, missing=missing)
        self._note(float(time_s[-1]))
        return time_s, self._u_s()

    def correct(self, correction: SyncCorrection) -> None:
        """Apply a sync check; times go to the corrected ones without a step.

        From now on the clock is pinned: the mean of the times that were compared, corrected, is
        right, and only what the fit says of the time since then is added; also where the times
        given were still on their way to those of the fit. What the fit learns later of the hidden
        wait moves no more. So the other clock of the check must be pinned as well, by a
        correction of nothing: bring_together does both. A further check takes the place of the
        one before, and with it tells the rate.
        """
        device_s, shown_s = self._shown(correction)
        pin = Pin(self.fit, device_s, shown_s + correction.offset_s, correction.u_s)
        if self._pin is not None and correction.u_s > 0.0:
            rate, u = pin.rate_since(self._pin)
            self.fit.expect_rate(rate, math.hypot(u, correction.other_rate_u))
        self._pin = pin

    def _shown(self, correction: SyncCorrection) -> tuple[float, float]:
        """Device time, and the session time shown then, means over what was compared, s."""
        newest = (self._newest_s, self._host_s(self._newest_s) - self._stamper.lag_s)
        if correction.start_s is None or correction.end_s is None:
            return newest
        start_s, end_s = correction.start_s, correction.end_s
        compared = [one for one in self._given if start_s <= one[1] <= end_s]
        device_s, shown_s = np.mean(compared or [newest], axis=0).tolist()
        return device_s, shown_s

    def _note(self, time_s: float) -> None:
        if not self._given or time_s - self._given[-1][1] >= _NOTED_EVERY_S:
            self._given.append((self._newest_s, time_s))

    def _host_s(self, device_s: float) -> float:
        host_s = self.fit.host_s(device_s)
        if self._pin is not None:
            return self._pin.host_s(host_s, device_s)
        return host_s - self._delay_s

    def _u_s(self) -> float:
        if self._pin is None:
            parts = (self.fit.u_s, LATENCY_U_S, self._stamper.lag_s)
        else:
            parts = (self._pin.moved_u_s(self._newest_s), self._pin.u_s, self._stamper.lag_s)
        u_s = math.hypot(*parts)
        return float(_U_GRID ** math.ceil(math.log(u_s) / math.log(_U_GRID)))


def bring_together(
    others: Iterable[ArrivalClock], clock: ArrivalClock, check: SyncCorrection
) -> None:
    """Apply a sync check between a clock and others; its offset is that of the clock's times."""
    other_rate_u = 0.0
    for other in others:
        other.correct(replace(check, offset_s=0.0, u_s=0.0))
        other_rate_u = math.hypot(other_rate_u, other.fit.rate_u)
    clock.correct(replace(check, other_rate_u=other_rate_u))
