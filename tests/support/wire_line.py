"""A collector's end of the line, frame by frame, and what it sends: a simulated golfer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import asynccontextmanager

import numpy as np
from websockets.asyncio.client import ClientConnection, connect

from sensors import wire
from sensors.faults import SensorSamples
from sensors.golfer_simulation import SimulatedRangeSession

STREAM_IDS = {"pelvis": "pelvis-1", "upper_back": "upper-back-1"}
STREAMS = tuple(
    wire.Stream(stream_id=stream_id, segment=segment, sensor=f"test {segment}", rate_hz=200.0)
    for segment, stream_id in STREAM_IDS.items()
)


def batch(sequence=0, stream_id="pelvis-1", samples=20, start_s=None, **changes):
    """A small batch whose values count the samples of its stream."""
    first = sequence * samples
    number = np.arange(first, first + samples, dtype=np.float64)
    time_s = number / 200.0 + (0.0 if start_s is None else start_s)
    values = np.repeat(number[:, None], 3, axis=1)
    fields = {
        "stream_id": stream_id,
        "sequence": sequence,
        "first_tick": first,
        "ticks_per_sample": 1.0,
        "received_s": float(time_s[-1]),
        **wire.pack_arrays(time_s, values, -values),
    }
    return wire.SampleBatch(**(fields | changes))


def simulated_messages(
    session: SimulatedRangeSession, batch_samples: int = 20
) -> Iterator[wire.SampleBatch | wire.Mark]:
    """A simulated session as a collector sends it: batches in order of time, then their marks."""
    sequences = dict.fromkeys(STREAM_IDS, 0)
    for stretch in session.stretches():
        pieces = [
            (segment, samples.rows(first, min(first + batch_samples, len(samples.time_s))))
            for segment, samples in stretch.samples.items()
            for first in range(0, len(samples.time_s), batch_samples)
        ]
        for segment, piece in sorted(pieces, key=lambda item: item[1].time_s[-1]):
            yield _wire_batch(segment, piece, sequences[segment])
            sequences[segment] += 1
        for mark in stretch.marks:
            yield wire.Mark(kind=mark.kind, start_s=mark.start_s, end_s=mark.end_s)


def _wire_batch(segment: str, samples: SensorSamples, sequence: int) -> wire.SampleBatch:
    return wire.SampleBatch(
        stream_id=STREAM_IDS[segment],
        sequence=sequence,
        first_tick=int(samples.ticks[0]),
        ticks_per_sample=1.0,
        received_s=float(samples.time_s[-1]),
        **wire.pack_arrays(samples.time_s, samples.gyro, samples.accel),
    )


class Line:
    """One WebSocket to /api/ingest."""

    def __init__(self, socket: ClientConnection) -> None:
        self.socket = socket

    async def send(self, *messages: wire.FromCollector) -> None:
        for message in messages:
            await self.socket.send(wire.encode(message))

    async def answer(self) -> wire.FromService:
        return wire.decode_from_service(await self.socket.recv())

    async def hello(self, streams=STREAMS, **changes) -> wire.Welcome:
        await self.send(wire.Hello(version=wire.WIRE_VERSION, streams=streams, **changes))
        answer = await self.answer()
        assert isinstance(answer, wire.Welcome), answer
        return answer

    async def send_all(self, messages: Iterable[wire.FromCollector], ahead: int = 32) -> None:
        """Send, keeping at most `ahead` batches unacknowledged, until all are acknowledged."""
        waiting = 0
        for message in messages:
            await self.send(message)
            if isinstance(message, wire.SampleBatch):
                waiting += 1
            while waiting >= ahead:
                waiting -= await self._acknowledged()
        while waiting:
            waiting -= await self._acknowledged()

    async def _acknowledged(self) -> int:
        answer = await self.answer()
        if isinstance(answer, wire.Refusal) and answer.code == "sent-twice":
            return 0  # words only
        assert isinstance(answer, wire.Acknowledge), answer
        return 1


@asynccontextmanager
async def line_to(address: str):
    """A line to the service at an http address."""
    url = address.replace("http://", "ws://") + "api/ingest"
    async with connect(url, compression=None, max_size=None) as socket:
        yield Line(socket)
