"""The radio of this computer, run by the service: find sensors, give them places, log them.

Nothing touches Bluetooth before the first scan or start. The collector of a run sends to the
service over its WebSocket like any other, so that samples have one way into the store.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncGenerator
from dataclasses import dataclass, field

import msgspec
import numpy as np

from sensors.bluetooth_intake import WornSensor
from sensors.bluetooth_obstacles import BLUETOOTH_ERRORS, obstacle_of
from sensors.bluetooth_scan import SeenSensor, SensorScan
from sensors.bluetooth_source import BluetoothSource
from sensors.collector import Collector, Destination
from sensors.errors import SensorError
from sensors.profile_library import load_profiles
from sensors.sensor_book import KnownSensor, SensorBook
from sensors.service_link import ServiceAddress
from sensors.source import SamplePacket, SourceEvent, StreamStarted
from sensors.spool import MemorySpool
from sensors.wire import SegmentName
from server.errors import ConflictError, NotFoundError

log = logging.getLogger(__name__)

OFF = "The radio is off in this service: start it with `torsolog serve --radio`."
SEGMENTS: tuple[SegmentName, ...] = ("pelvis", "upper_back")


class HeardSource(BluetoothSource):
    """The sensors, with the size of the newest angular rate of each segment, deg/s."""

    newest_dps: dict[SegmentName, float]

    async def events(self) -> AsyncGenerator[SourceEvent, None]:
        """As the sensors give them, each packet's last rate noted on the way."""
        self.newest_dps = {}
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


@dataclass(slots=True)
class Run:
    """A collector at work."""

    source: HeardSource
    collector: Collector
    stop: asyncio.Event
    task: asyncio.Task[None]


@dataclass(slots=True)
class Radio:
    """What the sensors page works with. obstacle: words on what stood in the way last."""

    enabled: bool
    seen: dict[str, SeenSensor] = field(default_factory=dict)
    obstacle: str | None = None
    run: Run | None = None
    session_id: str | None = None
    _scanning: asyncio.Task[None] | None = None

    @property
    def scanning(self) -> bool:
        """Whether it looks around now."""
        return self._scanning is not None and not self._scanning.done()

    @property
    def streaming(self) -> bool:
        """Whether a run is on."""
        return self.run is not None and not self.run.task.done()

    def scan(self, seconds: float) -> None:
        """Look around in the background. Raises ConflictError: radio off, or in use."""
        self._check()
        if self.streaming:
            raise ConflictError("The sensors are streaming: stop them first, then look again.")
        if not self.scanning:
            self._scanning = asyncio.create_task(self._look(seconds), name="radio: scan")

    async def _look(self, seconds: float) -> None:
        self.obstacle = None
        try:
            async with SensorScan(load_profiles()) as scan:
                await asyncio.sleep(seconds)
                self.seen = {one.address.lower(): one for one in scan.sensors()}
        except (*BLUETOOTH_ERRORS, SensorError) as error:
            known = not isinstance(error, SensorError)
            self.obstacle = str(obstacle_of(error, "sensor")) if known else str(error)

    def assign(self, address: str, segment: SegmentName | None) -> None:
        """Remember where a sensor is worn. Raises ConflictError, NotFoundError."""
        self._check()
        if self.streaming:
            raise ConflictError("The sensors are streaming: stop them first, then assign.")
        book = self._book()
        seen, known = self.seen.get(address.lower()), book.at(address)
        if seen is None and known is None:
            raise NotFoundError("sensor", address)
        try:
            if segment is None:
                book.forget(address)
            elif seen is not None and seen.profile is not None:
                profile, name = seen.profile.id, seen.name
                book.assign(
                    KnownSensor(address=seen.address, name=name, profile=profile, segment=segment)
                )
            elif known is not None:
                book.assign(msgspec.structs.replace(known, segment=segment))
        except SensorError as error:
            raise ConflictError(str(error)) from error

    def known(self) -> tuple[KnownSensor, ...]:
        """The remembered sensors; none where their file cannot be read (`obstacle` says so)."""
        try:
            return self._book().sensors
        except ConflictError as error:
            self.obstacle = str(error)
            return ()

    async def start(self, to: Destination, address: ServiceAddress) -> None:
        """Begin a run into an open session. Raises ConflictError with what is missing."""
        self.check_ready()
        if self._scanning is not None:
            self._scanning.cancel()
            await asyncio.wait({self._scanning})
        self.check_ready()
        self.obstacle = None
        source = HeardSource(self._worn(), news=self._say)
        source.newest_dps = {}
        collector = Collector(source, address, MemorySpool(), to, news=self._say)
        stop = asyncio.Event()
        task = asyncio.create_task(collector.run(stop), name="radio: collector")
        task.add_done_callback(self._ended)
        self.run, self.session_id = Run(source, collector, stop, task), to.session

    def check_ready(self) -> None:
        """Raises ConflictError: off, streaming already, or a sensor not assigned."""
        self._check()
        if self.streaming:
            raise ConflictError("The sensors are streaming already: stop them first.")
        self._worn()

    async def stop(self) -> None:
        """Stop the sensors, send what is left, end the session."""
        if self.run is not None:
            self.run.stop.set()
            await asyncio.wait({self.run.task})
            self.run, self.session_id = None, None

    async def close(self) -> None:
        """End everything; the service is going down, so nothing waits for its answers."""
        tasks = [one for one in (self._scanning, self.run and self.run.task) if one]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def _worn(self) -> tuple[WornSensor, ...]:
        book, library = self._book(), load_profiles()
        missing = [one.replace("_", " ") for one in SEGMENTS if book.worn_on(one) is None]
        if missing:
            raise ConflictError(
                f"No sensor is assigned to the {' and the '.join(missing)}: look for sensors and "
                "say which is worn where."
            )
        try:
            return tuple(
                WornSensor(one.segment, one.address, one.name, library.get(one.profile))
                for one in book.sensors
            )
        except SensorError as error:
            raise ConflictError(str(error)) from error

    def _book(self) -> SensorBook:
        try:
            return SensorBook()
        except SensorError as error:
            raise ConflictError(str(error)) from error

    def _check(self) -> None:
        if not self.enabled:
            raise ConflictError(OFF)

    def _say(self, sentence: str) -> None:
        log.info("%s", sentence)

    def _ended(self, task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (error := task.exception()) is not None:
            self.obstacle = str(error)
            log.warning("the run of the sensors ended: %s", error)
