"""The radio of this computer, run by the service: find sensors, give them places, log them.

Nothing touches Bluetooth before the first scan or start. The collector of a run sends to the
service over its WebSocket like any other, so that samples have one way into the store, and keeps
on disk what the service has not stored, so that an end at any moment loses none.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Final

import msgspec

from sensors.bluetooth_intake import WornSensor
from sensors.bluetooth_obstacles import BLUETOOTH_ERRORS, obstacle_of
from sensors.bluetooth_scan import SeenSensor, SensorScan
from sensors.collector import Destination
from sensors.errors import SensorError
from sensors.profile_library import load_profiles
from sensors.sensor_book import KnownSensor, SensorBook
from sensors.service_link import ServiceAddress
from sensors.wire import SEGMENTS, Fixing, SegmentName
from server.clock import Clock
from server.errors import ConflictError, NotFoundError
from server.radio_run import STOP_WITHIN_S, Run, send_left_over

log = logging.getLogger(__name__)

OFF = "The radio is off in this service: start it with `torsolog serve --radio`."
NEWS_KEPT: Final = 5

Begin = Callable[[str], None]
"""Starts the run that was made ready, into the open session of an id. Raises ConflictError."""


@dataclass(frozen=True, slots=True)
class NewsItem:
    """A sentence for people. at: wall time."""

    at: datetime
    text: str


@dataclass(slots=True)
class Radio:
    """What the sensors page works with. obstacle: words on what stood in the way last.

    unsent: the folder in which samples wait that the service has not stored. news: newest last.
    """

    enabled: bool
    clock: Clock
    unsent: Path
    seen: dict[str, SeenSensor] = field(default_factory=dict)
    obstacle: str | None = None
    run: Run | None = None
    session_id: str | None = None
    news: deque[NewsItem] = field(default_factory=lambda: deque(maxlen=NEWS_KEPT))
    _changing: asyncio.Lock = field(default_factory=asyncio.Lock)
    _scanning: asyncio.Task[None] | None = None
    _sending: asyncio.Task[None] | None = None

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
        """What is seen shows at once; what was seen before and is not now goes in the end."""
        self.obstacle = None
        now: dict[str, SeenSensor] = {}
        try:
            async with SensorScan(load_profiles()) as scan:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(seconds):
                        while True:
                            await scan.changed.wait()
                            scan.changed.clear()
                            now = {one.address.lower(): one for one in scan.devices()}
                            self.seen = self.seen | now
                self.seen = now
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
                book.assign(
                    KnownSensor(
                        address=seen.address,
                        name=seen.name,
                        profile=seen.profile.id,
                        segment=segment,
                        fixing=known.fixing if known is not None else None,
                    )
                )
            elif known is not None:
                book.assign(msgspec.structs.replace(known, segment=segment))
            else:
                raise ConflictError(
                    f"No profile knows the device {address}, so its packets cannot be read: "
                    "`torsolog profile list` names what can be read, and a profile of your own, "
                    "checked with `torsolog profile check`, adds another sensor."
                )
        except SensorError as error:
            raise ConflictError(str(error)) from error

    def hold(self, address: str, fixing: Fixing | None) -> None:
        """Remember what holds a sensor that is worn somewhere. Raises ConflictError."""
        book = self._book()
        known = book.at(address)
        try:
            if known is not None:
                book.assign(msgspec.structs.replace(known, fixing=fixing))
        except SensorError as error:
            raise ConflictError(str(error)) from error

    def swap(self) -> None:
        """The two remembered sensors change places. Raises ConflictError."""
        self._check()
        if self.streaming:
            raise ConflictError("The sensors are streaming: stop them first, then swap.")
        book = self._book()
        if not book.sensors:
            raise ConflictError("No sensor is assigned yet: say first which is worn where.")
        try:
            book.swap()
        except SensorError as error:
            raise ConflictError(str(error)) from error

    def known(self) -> tuple[KnownSensor, ...]:
        """The remembered sensors; none where their file cannot be read (`obstacle` says so)."""
        try:
            return self._book().sensors
        except ConflictError as error:
            self.obstacle = str(error)
            return ()

    @contextlib.asynccontextmanager
    async def starting(self, address: ServiceAddress) -> AsyncIterator[Begin]:
        """Make a run ready, one caller at a time; in the block the given call begins it.

        Raises ConflictError with what is missing, before anything is opened for the run.
        """
        async with self._changing:
            self._check()
            if self.streaming:
                raise ConflictError("The sensors are streaming already: stop them first.")
            worn = self._worn()
            if self._scanning is not None:
                self._scanning.cancel()
                await asyncio.wait({self._scanning})
            yield partial(self._begin, worn, address)

    def _begin(
        self, worn: tuple[WornSensor, ...], address: ServiceAddress, session_id: str
    ) -> None:
        self.obstacle = None
        self.news.clear()
        to = Destination(session_id)
        try:
            self.run = Run.begin(worn, to, address, self.unsent, self._say)
        except SensorError as error:
            raise ConflictError(str(error)) from error
        self.session_id = session_id
        self.run.task.add_done_callback(self._ended)

    async def stop(self, within_s: float = STOP_WITHIN_S) -> None:
        """Stop the sensors and send what is left, which ends the session.

        What the service has not stored in time stays on disk, is said and is sent later.
        """
        async with self._changing:
            if self.run is None:
                return
            address = self.run.address
            remains = await self.run.end(within_s)
            self.run, self.session_id = None, None
            if remains is not None:
                log.warning("%s", remains)
                self.obstacle = remains
                self.send_left_over(address)

    def send_left_over(self, address: ServiceAddress) -> None:
        """The service answers at this address: send it what earlier runs left, in background."""
        if self._sending is None or self._sending.done():
            self._sending = asyncio.create_task(
                send_left_over(self.unsent, address, self._say, self._folder_in_use),
                name="radio: left over",
            )

    async def close(self) -> None:
        """End everything; the service is going down, so nothing waits for its answers."""
        tasks = [one for one in (self._scanning, self._sending, self.run and self.run.task) if one]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def _folder_in_use(self) -> Path | None:
        return self.run.folder if self.run is not None else None

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
                WornSensor(one.segment, one.address, one.name, library.get(one.profile), one.fixing)
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
        self.news.append(NewsItem(self.clock.now(), sentence))

    def _ended(self, task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (error := task.exception()) is not None:
            self.obstacle = str(error)
            log.warning("the run of the sensors ended: %s", error)
