"""The simulated golfer as two live streams, in real time or at any speed."""

from __future__ import annotations

import itertools
from collections.abc import AsyncGenerator, Iterator

import numpy as np

from sensors.clock import SourceClock
from sensors.faults import SensorFaults, SensorSamples
from sensors.golfer_simulation import SessionStretch, SimulatedRangeSession
from sensors.pace import Pace
from sensors.replay import PACKET_S, complete_s, in_order_of_time
from sensors.source import SamplePacket, SourceEvent, StreamClock, StreamStarted, new_stream_id
from sensors.units import STANDARD_GRAVITY_MPS2
from sensors.wire import SEGMENTS, Mark, SegmentName, Stream


class SimulatedSource:
    """Both sensors of a simulated range session, made as they are needed.

    speed: 1 real time, 0 or infinity as fast as it is taken. clocks: how each segment's ticks
    become session time; left out: the simulation's own true times.
    Raises SourceError for a speed below 0.
    """

    def __init__(
        self,
        session: SimulatedRangeSession,
        *,
        speed: float = 1.0,
        can_wait: bool = True,
        clocks: dict[SegmentName, StreamClock] | None = None,
        pace: Pace | None = None,
    ) -> None:
        self.session = session
        self.can_wait = can_wait
        self._pace = pace if pace is not None else Pace(speed)
        self._clocks = clocks or {}
        self._next_number = dict.fromkeys(SEGMENTS, 0)

    @property
    def duration_s(self) -> float | None:
        """Not known before it is made; a plan may be without end."""
        return None

    def now_s(self) -> float:
        """Session time now, s."""
        return self._pace.now_s()

    async def events(self) -> AsyncGenerator[SourceEvent, None]:
        """Both streams start, then packets and marks in order of time."""
        streams = {segment: self._stream(segment) for segment in SEGMENTS}
        for segment, stream in streams.items():
            yield StreamStarted(stream, self._clocks.get(segment, SourceClock()))
        for stretch in self.session.stretches():
            packets = [
                self._packets(stretch, segment, stream.stream_id)
                for segment, stream in streams.items()
            ]
            marks = [Mark(kind=m.kind, start_s=m.start_s, end_s=m.end_s) for m in stretch.marks]
            for event in in_order_of_time(packets, marks):
                await self._pace.reach(complete_s(event))
                yield event

    def _stream(self, segment: SegmentName) -> Stream:
        faults = self.session.faults[segment]
        return Stream(
            stream_id=new_stream_id(),
            segment=segment,
            sensor=f"simulated {segment.replace('_', ' ')}",
            rate_hz=faults.rate_hz,
            gyro_range_dps=faults.gyro_range_dps,
            accel_range_g=_range_g(faults),
            rate_sample=faults.rate_sample,
            tick_s=faults.tick_s,
        )

    def _packets(
        self, stretch: SessionStretch, segment: SegmentName, stream_id: str
    ) -> Iterator[SamplePacket]:
        """The samples of one stretch in packets, split where some were lost."""
        samples = stretch.samples[segment]
        for first, end in _packet_rows(samples):
            rows = slice(first, end)
            lost = int(samples.number[first]) - self._next_number[segment]
            self._next_number[segment] = int(samples.number[end - 1]) + 1
            yield SamplePacket(
                stream_id=stream_id,
                ticks=samples.ticks[rows],
                gyro=samples.gyro[rows],
                accel=samples.accel[rows],
                received_s=float(samples.time_s[end - 1]),
                lost_before=lost,
                time_s=samples.time_s[rows],
            )


def _packet_rows(samples: SensorSamples) -> Iterator[tuple[int, int]]:
    """First row and end of each packet of PACKET_S; a lost sample ends a packet."""
    if not len(samples.number):
        return
    slots = np.floor(samples.time_s / PACKET_S)
    edges = np.flatnonzero((np.diff(slots) > 0) | (np.diff(samples.number) > 1)) + 1
    yield from itertools.pairwise((0, *edges.tolist(), len(slots)))


def _range_g(faults: SensorFaults) -> float | None:
    limit = faults.accel_range
    return None if limit is None else limit / STANDARD_GRAVITY_MPS2
