"""One run of the sensors of this computer: collector, spool on disk, and an end in stated time."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncGenerator, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

import numpy as np

from sensors.bluetooth_intake import WornSensor
from sensors.bluetooth_source import BluetoothSource
from sensors.collector import Collector, Destination, send_unfinished
from sensors.disk_spool import DiskSpool, unfinished_runs
from sensors.errors import SensorError
from sensors.service_link import News, ServiceAddress
from sensors.source import SamplePacket, SourceEvent, StreamStarted, new_stream_id
from sensors.wire import SegmentName
from sensors.write_behind import WriteBehindSpool

log = logging.getLogger(__name__)

STOP_WITHIN_S: Final = 15.0
"""An orderly stop of both sensors takes 3 s at most, the rest is for what is not yet stored."""
LEFT_WITHIN_S: Final = 5.0
"""And so long once it is cancelled."""


class HeardSource(BluetoothSource):
    """The sensors, with the size of the newest angular rate of each segment, deg/s."""

    def __init__(self, worn: Sequence[WornSensor], news: News) -> None:
        super().__init__(worn, news=news)
        self.newest_dps: dict[SegmentName, float] = {}

    async def events(self) -> AsyncGenerator[SourceEvent, None]:
        """As the sensors give them, each packet's last rate noted on the way."""
        segments: dict[str, SegmentName] = {}
        events = super().events()
        try:
            async for event in events:
                if isinstance(event, SamplePacket):
                    rate = float(np.degrees(np.linalg.norm(event.gyro[-1])))
                    self.newest_dps[segments[event.stream_id]] = rate
                elif isinstance(event, StreamStarted):
                    segments[event.stream.stream_id] = event.stream.segment
                yield event
        finally:
            await events.aclose()


@dataclass(frozen=True, slots=True)
class Run:
    """A collector at work. folder: where samples lie that the service has not taken yet."""

    source: HeardSource
    collector: Collector
    address: ServiceAddress
    folder: Path
    task: asyncio.Task[None]
    _stop: asyncio.Event

    @classmethod
    def begin(
        cls,
        worn: Sequence[WornSensor],
        to: Destination,
        address: ServiceAddress,
        unsent: Path,
        news: News,
    ) -> Self:
        """Connect and stream. unsent: folder of spools. Raises SensorError: no spool there."""
        source = HeardSource(worn, news)
        folder = unsent / new_stream_id()
        spool = WriteBehindSpool(DiskSpool(folder, overflow_bytes=0))
        try:
            collector = Collector(source, address, spool, to, news=news)
        except SensorError:
            spool.close(done=True)
            raise
        stop = asyncio.Event()
        task = asyncio.create_task(collector.run(stop), name="radio: collector")
        return cls(source, collector, address, folder, task, stop)

    async def end(self, within_s: float) -> str | None:
        """Stop the sensors and send what is left; None, or in words what was not sent in time.

        A cancel leaves the rest in the folder too.
        """
        self._stop.set()
        try:
            await asyncio.wait({self.task}, timeout=within_s)
            if self.task.done():
                return None
            waiting = self.collector.uplink.waiting
        finally:
            self.task.cancel()
        await asyncio.wait({self.task}, timeout=LEFT_WITHIN_S)
        return (
            f"The sensors are stopped, but the service has not stored all they sent: {waiting} "
            f"batches lie in {self.folder} and are sent as soon as it takes them."
        )


async def send_left_over(
    unsent: Path, address: ServiceAddress, news: News, in_use: Callable[[], Path | None]
) -> None:
    """Send what earlier runs left in their folders. in_use: the folder of the run under way.

    A cancel leaves the rest where it lies; what cannot be sent is told with its place.
    """
    tried: set[Path] = set()
    while True:
        runs = await asyncio.to_thread(unfinished_runs, unsent)
        left = [folder for folder in runs if folder not in tried and folder != in_use()]
        if not left:
            return
        folder = left[0]
        tried.add(folder)
        try:
            session = await send_unfinished(folder, address)
        except SensorError as error:
            log.warning("left-over samples in %s: %s", folder, error)
            news(f"samples of an earlier run lie unsent in {folder}: {error}")
        else:
            log.info("sent what an earlier run left in %s to session %s", folder, session)
            news("what an earlier run had not sent is stored now with its session")
