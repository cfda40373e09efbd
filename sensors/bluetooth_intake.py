"""From what one sensor's link tells to streams of samples: decoding, streams, gaps, reports.

No radio and no loop here: events in, events out.

A stream ends when the sensor's count of samples begins anew: switched off and on, or connected
again without a counter or clock to show where it goes on. Where the device's clock ran on, the new
stream goes on with the clock that was learnt.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from sensors.bluetooth_link import BatteryLevel, Linked, LinkEvent, Notified, Silent, Unlinked
from sensors.bluetooth_obstacles import Obstacle
from sensors.clock import ArrivalClock
from sensors.packet_decode import DecodedSamples, PacketDecoder
from sensors.profile import Profile
from sensors.source import SamplePacket, SourceEvent, StreamClock, StreamStarted, new_stream_id
from sensors.wire import Fixing, SegmentName, Stream, StreamReport, StreamState

BATTERY_LOW_PERCENT: Final = 15
CLOCK_SLACK_S: Final = 0.5
"""How far the arrival after a pause may be off what the device's count says: the longest that a
sensor and the system below keep packets back."""
CLOCK_SLACK: Final = 0.02
"""And part of the pause: the sampling oscillators of motion chips are a few per cent off at most
(common practice, no source)."""
PAUSE_S: Final = 1.0
"""A sensor without counter and clock that paused for so long has lost samples: no stack holds
packets back for longer."""

News = Callable[[str], None]


class SensorPhase(StrEnum):
    """What a sensor is doing."""

    SOUGHT = "sought"
    CONNECTED = "connected"
    STREAMING = "streaming"
    SILENT = "silent"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class WornSensor:
    """A sensor in its place on the body. address: as the system names it. fixing: what holds it."""

    segment: SegmentName
    address: str
    name: str
    profile: Profile
    fixing: Fixing | None = None

    @property
    def called(self) -> str:
        """For people."""
        return f"{self.segment.replace('_', '-')} sensor ({self.name or self.address})"


class SensorIntake:
    """One sensor's events. Its state: `phase`, `obstacle` (why not, if not), `battery_percent`."""

    def __init__(
        self, worn: WornSensor, session_s: Callable[[float], float], news: News | None = None
    ) -> None:
        """session_s: session time of a monotonic time. news: told sentences for people."""
        self.worn = worn
        self.phase = SensorPhase.SOUGHT
        self.obstacle: Obstacle | None = None
        self.battery_percent: int | None = None
        self.decoder = PacketDecoder(worn.profile)
        self.lost = 0
        self._session_s = session_s
        self._news = news
        self._counts_itself = worn.profile.tick_s is not None or any(
            layout.sequence is not None for layout in self.decoder.layouts
        )
        self._stream_id: str | None = None
        self._start = -1
        self._clock: StreamClock | None = None
        self._last: _Last | None = None
        self._new_link = False

    def take(self, event: LinkEvent) -> Iterator[SourceEvent]:
        """What an event of the link means to whoever takes samples."""
        if isinstance(event, Notified):
            yield from self._packet(event)
        elif isinstance(event, Linked):
            self._linked()
        elif isinstance(event, BatteryLevel):
            yield from self._battery(event.percent)
        elif isinstance(event, Silent):
            self.phase = SensorPhase.SILENT
            self._tell(f"the {self.worn.called} is connected but sends nothing")
            yield from self._report("silent")
        else:
            yield from self._unlinked(event)

    def _linked(self) -> None:
        self.phase, self.obstacle, self._new_link = SensorPhase.CONNECTED, None, True
        if not self._counts_itself and self._last is not None:
            self.decoder.restart()

    def _unlinked(self, event: Unlinked) -> Iterator[SourceEvent]:
        was, self.phase = self.phase, SensorPhase.LOST if self._last else SensorPhase.SOUGHT
        before, self.obstacle = self.obstacle, event.obstacle
        if event.was_linked or before is None or before.kind is not event.obstacle.kind:
            self._tell(str(event.obstacle))
        if was is not self.phase:
            yield from self._report("lost")

    def _battery(self, percent: int) -> Iterator[SourceEvent]:
        before = self.battery_percent
        self.battery_percent = percent
        if percent <= BATTERY_LOW_PERCENT and (before is None or before > BATTERY_LOW_PERCENT):
            self._tell(f"the {self.worn.called} has {percent} % of its battery left: charge it")
        if percent != before and self.phase is SensorPhase.STREAMING:
            yield from self._report("streaming")

    def _packet(self, event: Notified) -> Iterator[SourceEvent]:
        received_s = self._session_s(event.received_s)
        if self._paused_uncounted(received_s):
            self.decoder.restart()
        samples = self.decoder.decode([event.payload], event.characteristic)
        if not len(samples):
            return
        if self._new_link and not self._goes_on(samples, received_s):
            self.decoder.restart()
            samples = self.decoder.decode([event.payload], event.characteristic)
            if not len(samples):  # its other half belongs to the stream before
                return
        self._new_link = False
        lost = samples.lost_before
        if int(samples.start[0]) != self._start:
            lost = self._missing(samples, received_s)
            yield from self._begin(samples, received_s)
        assert self._stream_id is not None
        self._last = _Last(int(samples.number[-1]), int(samples.ticks[-1]), received_s)
        self.lost += lost
        yield SamplePacket(
            self._stream_id,
            samples.ticks,
            samples.gyro,
            samples.accel,
            received_s,
            lost_before=lost,
        )
        if self.phase is not SensorPhase.STREAMING:
            yield from self._streams_again(lost)

    def _paused_uncounted(self, received_s: float) -> bool:
        """Whether samples are missing that only the time of arrival shows."""
        if self._counts_itself or self._last is None:
            return False
        return received_s - self._last.received_s > PAUSE_S

    def _goes_on(self, samples: DecodedSamples, received_s: float) -> bool:
        """Whether the count over a new link continues the one before, by the time passed."""
        if self._last is None or int(samples.start[0]) != self._start:
            return True
        passed_s = received_s - self._last.received_s
        counted_s = (int(samples.number[0]) - self._last.number) / self.worn.profile.rate_hz
        return -CLOCK_SLACK_S < counted_s < passed_s * (1.0 + CLOCK_SLACK) + CLOCK_SLACK_S

    def _missing(self, samples: DecodedSamples, received_s: float) -> int:
        """Samples missing before a new stream, by the time since the last sample of the old one."""
        if self._last is None:
            return 0
        passed_s = received_s - self._last.received_s
        return max(0, round(passed_s * self.worn.profile.rate_hz) - len(samples))

    def _begin(self, samples: DecodedSamples, received_s: float) -> Iterator[SourceEvent]:
        profile = self.worn.profile
        self._start = int(samples.start[0])
        self._stream_id = new_stream_id()
        if self._clock is None or not self._clock_runs_on(samples, received_s):
            self._clock = ArrivalClock(
                profile.rate_hz, tick_s=profile.tick_s, delay_s=profile.delay_s
            )
        stream = Stream(
            stream_id=self._stream_id,
            segment=self.worn.segment,
            sensor=self.worn.name or self.worn.address,
            rate_hz=profile.rate_hz,
            address=self.worn.address,
            gyro_range_dps=profile.gyro_range_dps,
            accel_range_g=profile.accel_range_g,
            tick_s=profile.tick_s,
            rate_sample=profile.gyro.sample,
            fixing=self.worn.fixing,
        )
        yield StreamStarted(stream, self._clock)

    def _clock_runs_on(self, samples: DecodedSamples, received_s: float) -> bool:
        """Whether the device's clock was not set back, whatever became of its count."""
        tick_s = self.worn.profile.tick_s
        if tick_s is None or self._last is None:
            return False
        passed_s = received_s - self._last.received_s
        ticked_s = (int(samples.ticks[0]) - self._last.tick) * tick_s
        slack_s = CLOCK_SLACK_S + CLOCK_SLACK * passed_s
        return ticked_s > 0.0 and abs(ticked_s - passed_s) < slack_s

    def _streams_again(self, lost: int) -> Iterator[SourceEvent]:
        self.phase = SensorPhase.STREAMING
        missing = f" again, {lost} samples are missing" if lost else ""
        self._tell(f"the {self.worn.called} sends{missing}")
        yield from self._report("streaming")

    def _report(self, state: StreamState) -> Iterator[SourceEvent]:
        """A word on the stream at once; none where there is no stream yet."""
        if self._stream_id is not None and self._last is not None:
            yield StreamReport(
                stream_id=self._stream_id,
                state=state,
                at_s=self._last.received_s,
                rate_hz=0.0,
                lost=self.lost,
                battery_percent=self.battery_percent,
            )

    def _tell(self, sentence: str) -> None:
        if self._news is not None:
            self._news(sentence)


@dataclass(frozen=True, slots=True)
class _Last:
    """The sample that came last: its number and tick; session time of its arrival."""

    number: int
    tick: int
    received_s: float
