"""Two sensors over Bluetooth LE as a source of samples."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncGenerator, Callable, Iterator, Sequence
from typing import Final

from sensors.backoff import backoff_delays
from sensors.bluetooth_intake import News, SensorIntake, WornSensor
from sensors.bluetooth_link import LinkedSensor, LinkEvent, LinkTiming, SensorLink
from sensors.errors import SourceError
from sensors.source import SamplePacket, SourceEvent
from sensors.swap_watch import SwapWatch

FIRST_S: Final = 0.5
"""Session time of the first packet to come; its samples were taken a little earlier."""

SWAPPED_WORDS: Final = (
    "the sensors seem to be worn the wrong way round (in the last swings the pelvis sensor turned "
    "faster than the upper-back sensor): change them over, or say `torsolog sensors --swap`"
)


class BluetoothSource:
    """Keeps the sensors connected for as long as events are taken.

    Obstacles are told and waited out: a sensor may be switched on, charged or brought back, and
    Bluetooth be switched on, at any time. `sensors` say what each is doing.
    """

    def __init__(
        self,
        worn: Sequence[WornSensor],
        *,
        news: News | None = None,
        already_s: float | None = None,
        timing: LinkTiming | None = None,
        delays: Callable[[], Iterator[float]] = backoff_delays,
    ) -> None:
        """news: told sentences for people. delays: waits between tries to connect.

        already_s: session time now, of a session to go on with; None: it begins with the first
        packet, as a new session does.

        Raises SourceError: no sensor, or one of them twice.
        """
        addresses = {one.address.lower() for one in worn}
        segments = {one.segment for one in worn}
        if not worn or len(addresses) < len(worn) or len(segments) < len(worn):
            raise SourceError(
                "expected one sensor for each segment, received "
                + (", ".join(f"{one.segment} {one.address}" for one in worn) or "none")
            )
        self._zero_s = None if already_s is None else time.monotonic() - already_s
        self.sensors = tuple(SensorIntake(one, self._session_s, self._say) for one in worn)
        self._swap = SwapWatch()
        self._news = news
        self._said = ""
        self._timing = timing
        self._delays = delays

    @property
    def swapped(self) -> bool:
        """Whether the sensors seem to be worn the wrong way round."""
        return self._swap.swapped

    @property
    def can_wait(self) -> bool:
        """A radio does not wait."""
        return False

    @property
    def duration_s(self) -> float | None:
        """Without end."""
        return None

    def now_s(self) -> float:
        """Session time now, s; FIRST_S until the first packet has come."""
        return FIRST_S if self._zero_s is None else time.monotonic() - self._zero_s

    async def events(self) -> AsyncGenerator[SourceEvent, None]:
        """Streams, samples and reports as they come. Closing stops and disconnects the sensors."""
        arrived: asyncio.Queue[LinkEvent | BaseException] = asyncio.Queue()
        radio = asyncio.Lock()
        intakes = {one.worn.address: one for one in self.sensors}
        running = set()
        for address, intake in intakes.items():
            sensor = LinkedSensor(address, intake.worn.called, intake.worn.profile)
            link = SensorLink(
                sensor, arrived.put_nowait, radio, timing=self._timing, delays=self._delays
            )
            task = asyncio.create_task(link.run(), name=f"bluetooth: {intake.worn.segment}")
            task.add_done_callback(lambda done: _say_broken(done, arrived))
            running.add(task)
        try:
            while True:
                event = await arrived.get()
                if isinstance(event, BaseException):
                    raise event
                intake = intakes[event.address]
                for meant in intake.take(event):
                    if isinstance(meant, SamplePacket):
                        self._watch_for_swap(intake, meant)
                    yield meant
        finally:
            for task in running:
                task.cancel()
            await asyncio.wait(running)

    def _watch_for_swap(self, intake: SensorIntake, packet: SamplePacket) -> None:
        if self._swap.push(intake.worn.segment, packet.received_s, packet.gyro):
            self._say(SWAPPED_WORDS)

    def _say(self, sentence: str) -> None:
        """Once for both sensors, where it is about neither."""
        if self._news is not None and sentence != self._said:
            self._news(sentence)
        self._said = sentence

    def _session_s(self, monotonic_s: float) -> float:
        if self._zero_s is None:
            self._zero_s = monotonic_s - FIRST_S
        return monotonic_s - self._zero_s


def _say_broken(
    task: asyncio.Task[None], arrived: asyncio.Queue[LinkEvent | BaseException]
) -> None:
    """A link ends by a cancel only; anything else is a fault of ours and must not be silent."""
    if not task.cancelled() and (error := task.exception()) is not None:
        arrived.put_nowait(error)
