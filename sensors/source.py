"""Where samples come from: one protocol for replay, simulation and the radio.

A source tells events in the order in which they happen. It knows sensors and their own clocks; it
knows nothing of batches, of the service or of who listens.
"""

from __future__ import annotations

import uuid
from collections.abc import AsyncGenerator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from sensors.wire import Mark, Stream, StreamReport

Array = npt.NDArray[np.float64]
Ticks = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SamplePacket:
    """Samples that arrived together, n of one stream, in the sensor's own axes.

    ticks (n,): the device's own count, unwrapped; the sample number where it has no clock.
    gyro (n, 3) rad/s; accel (n, 3) m/s^2. received_s: session time at which the host had them.
    lost_before: samples known to be missing since the packet before.
    time_s (n,): session time of each sample where the source knows it, as a recording does.
    """

    stream_id: str
    ticks: Ticks
    gyro: Array
    accel: Array
    received_s: float
    lost_before: int = 0
    time_s: Array | None = None


class StreamClock(Protocol):
    """Brings a stream's samples to session time."""

    def session_times(self, packet: SamplePacket) -> tuple[Array, float]:
        """Session time (n,) of a packet's samples, s, and its standard uncertainty, s.

        Packets come in the order of arrival; a clock may learn from each.
        """
        ...


@dataclass(frozen=True, slots=True)
class StreamStarted:
    """A sensor begins to send. `clock` maps its packets to session time."""

    stream: Stream
    clock: StreamClock


SourceEvent = StreamStarted | SamplePacket | Mark | StreamReport
"""A StreamReport from a source says what only it can know: a lost sensor, a battery level."""


class Source(Protocol):
    """Anything that gives two streams of samples."""

    @property
    def can_wait(self) -> bool:
        """Whether it loses nothing when nobody takes its events; a radio cannot wait."""
        ...

    @property
    def duration_s(self) -> float | None:
        """Length of all that will come, s of session time; None: not known or without end."""
        ...

    def now_s(self) -> float:
        """Session time now, s."""
        ...

    def events(self) -> AsyncGenerator[SourceEvent, None]:
        """Events from the start, once. Closing the generator stops the sensors.

        Raises SourceError where no samples can be had, from the generator.
        """
        ...


def new_stream_id() -> str:
    """A stream id that no other start of any sensor has."""
    return uuid.uuid4().hex
