"""A recording played as two live streams, in real time or at any speed."""

from __future__ import annotations

import heapq
from collections.abc import AsyncGenerator, Iterable, Iterator
from typing import Final

import numpy as np

from sensors.clock import SourceClock
from sensors.pace import Pace
from sensors.recording import Recording, SensorRecording
from sensors.source import SamplePacket, SourceEvent, StreamStarted, new_stream_id
from sensors.wire import Mark, Stream

PACKET_S: Final = 0.05
"""A packet of a replayed sensor: as long as a slow Bluetooth connection interval."""
_GAP_PERIODS: Final = 1.5
"""A step in time beyond this many sample periods means that samples are missing."""


class ReplaySource:
    """Both sensors of a recording, on the recording's own time line, to the bit.

    speed: 1 real time, 0 or infinity as fast as it is taken. Marks come when their stretch has
    passed. Raises SourceError for a speed below 0.
    """

    def __init__(
        self,
        recording: Recording,
        *,
        speed: float = 1.0,
        can_wait: bool = True,
        pace: Pace | None = None,
    ) -> None:
        self.recording = recording
        self.can_wait = can_wait
        self._pace = pace if pace is not None else Pace(speed)

    @property
    def duration_s(self) -> float:
        """From the first sample of either sensor to the last."""
        return self.recording.end_s - self.recording.start_s

    def now_s(self) -> float:
        """Time on the recording's time line, not past its end."""
        return min(self._pace.now_s(), self.recording.end_s)

    async def events(self) -> AsyncGenerator[SourceEvent, None]:
        """Both streams start, then packets and marks in order of time."""
        sensors = (self.recording.pelvis, self.recording.upper_back)
        streams = [stream_of(sensor) for sensor in sensors]
        for stream in streams:
            yield StreamStarted(stream, SourceClock())
        packets = [
            packets_of(sensor, stream.stream_id, self.recording.start_s)
            for sensor, stream in zip(sensors, streams, strict=True)
        ]
        for event in in_order_of_time(packets, self.recording.marks):
            await self._pace.reach(complete_s(event))
            yield event


def stream_of(sensor: SensorRecording) -> Stream:
    """A new stream with the facts of a recorded sensor."""
    return Stream(
        stream_id=new_stream_id(),
        segment=sensor.segment,
        sensor=sensor.sensor or "recording",
        rate_hz=sensor.rate_hz,
        gyro_range_dps=sensor.gyro_range_dps,
        accel_range_g=sensor.accel_range_g,
        rate_sample=sensor.rate_sample,
        fixing=sensor.fixing,
    )


def packets_of(
    sensor: SensorRecording, stream_id: str, start_s: float, span_s: float = PACKET_S
) -> Iterator[SamplePacket]:
    """The samples in stretches of span_s, split where samples are missing; ticks count them."""
    time_s = sensor.time_s
    slots = np.floor((time_s - start_s) / span_s)
    periods = np.diff(time_s) * sensor.rate_hz
    missing = np.where(periods > _GAP_PERIODS, np.rint(periods) - 1.0, 0.0).astype(np.int64)
    ticks = np.arange(len(time_s)) + np.concatenate(([0], np.cumsum(missing)))
    edges = np.flatnonzero((np.diff(slots) > 0) | (missing > 0)) + 1
    for first, end in zip((0, *edges), (*edges, len(time_s)), strict=True):
        rows = slice(int(first), int(end))
        yield SamplePacket(
            stream_id=stream_id,
            ticks=ticks[rows],
            gyro=sensor.gyro[rows],
            accel=sensor.accel[rows],
            received_s=float(time_s[end - 1]),
            lost_before=int(missing[first - 1]) if first else 0,
            time_s=time_s[rows],
        )


def in_order_of_time(
    packets: Iterable[Iterable[SamplePacket]], marks: Iterable[Mark]
) -> Iterator[SamplePacket | Mark]:
    """Packets of several streams and marks, each by the time at which it is complete."""
    by_end = sorted(marks, key=complete_s)
    return heapq.merge(*packets, by_end, key=complete_s)


def complete_s(event: SamplePacket | Mark) -> float:
    """Session time from which on the event can be known."""
    return event.end_s if isinstance(event, Mark) else event.received_s
