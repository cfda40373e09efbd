"""What a counting sensor's samples say: their numbers, read off the values."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import numpy as np

from sensors.bluetooth_intake import WornSensor
from sensors.bluetooth_link import LinkTiming
from sensors.bluetooth_source import BluetoothSource
from sensors.profile import Profile
from sensors.profile_library import load_profiles
from sensors.source import SamplePacket, SourceEvent, StreamStarted
from sensors.units import STANDARD_GRAVITY_MPS2
from sensors.wire import StreamReport
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK
from tests.support.emulated_sensor import COUNTED

GYRO_COUNT = np.radians(2000.0 / 32768.0)
ACCEL_COUNT = 16.0 / 32768.0 * STANDARD_GRAVITY_MPS2
ADDRESSES = {"pelvis": PELVIS, "upper_back": UPPER_BACK}
QUICK = LinkTiming(find_s=1.0, connect_s=1.0, silent_s=0.3, give_up_s=0.8, close_s=1.0)


def numbers_of(gyro: np.ndarray, accel: np.ndarray) -> list[int]:
    """The number of each sample of a counting sensor."""
    low, turns = np.rint(gyro[:, 0] / GYRO_COUNT), np.rint(accel[:, 0] / ACCEL_COUNT)
    return (turns.astype(int) * COUNTED + low.astype(int)).tolist()


def worn(*segments: str, profile: Profile | None = None) -> list[WornSensor]:
    """The rig's sensors, worn."""
    profile = profile or load_profiles().get("open-sensor")
    return [
        WornSensor(segment, ADDRESSES[segment], f"torsolog {segment[0].upper()}", profile)
        for segment in segments or ADDRESSES
    ]


class Taken:
    """What a source gave, by segment; `news` is what it said to people."""

    def __init__(self, sensors: list[WornSensor], timing: LinkTiming) -> None:
        self.news: list[str] = []
        self.source = BluetoothSource(
            sensors, news=self._said, timing=timing, delays=lambda: itertools.repeat(0.02)
        )
        self.streams: dict[str, list[str]] = {segment: [] for segment in ADDRESSES}
        self.packets: dict[str, list[SamplePacket]] = {segment: [] for segment in ADDRESSES}
        self.reports: list[StreamReport] = []
        self.clocks: list[object] = []
        self._more = asyncio.Event()

    async def take(self) -> None:
        async with contextlib.aclosing(self.source.events()) as events:
            async for event in events:
                self._note(event)
                self._more.set()

    def _note(self, event: SourceEvent) -> None:
        if isinstance(event, StreamStarted):
            self.streams[event.stream.segment].append(event.stream.stream_id)
            self.clocks.append(event.clock)
        elif isinstance(event, SamplePacket):
            segment = next(s for s, ids in self.streams.items() if event.stream_id in ids)
            self.packets[segment].append(event)
        elif isinstance(event, StreamReport):
            self.reports.append(event)

    def _said(self, sentence: str) -> None:
        self.news.append(sentence)
        self._more.set()

    async def until(self, condition: Callable[[], bool], within_s: float = 10.0) -> None:
        """Wait until what was given or said meets a condition."""
        async with asyncio.timeout(within_s):
            while not condition():
                self._more.clear()
                await self._more.wait()

    async def flows(self, segment: str = "pelvis", packets: int = 5) -> None:
        """Wait until that many more packets of a segment have come."""
        wanted = len(self.packets[segment]) + packets
        await self.until(lambda: len(self.packets[segment]) >= wanted)

    async def says(self, words: str) -> None:
        """Wait until a sentence with these words is said."""
        await self.until(lambda: any(words in sentence for sentence in self.news))

    def numbers(self, segment: str = "pelvis") -> list[int]:
        """Number of every sample of a segment, in the order in which they came."""
        return [n for p in self.packets[segment] for n in numbers_of(p.gyro, p.accel)]

    def lost(self, segment: str = "pelvis") -> int:
        """Samples said to be missing."""
        return sum(packet.lost_before for packet in self.packets[segment])

    def states(self) -> list[str]:
        """What the reports said, in their order."""
        return [report.state for report in self.reports]


@contextlib.asynccontextmanager
async def taking(
    *segments: str, timing: LinkTiming = QUICK, profile: Profile | None = None
) -> AsyncIterator[Taken]:
    """The sensors of these segments (none named: both) as a source whose events are taken."""
    taken = Taken(worn(*segments, profile=profile), timing)
    task = asyncio.create_task(taken.take())
    try:
        yield taken
    finally:
        task.cancel()
        await asyncio.wait({task})
        if not task.cancelled():
            task.result()


def expected(runs: list[list[int]]) -> list[int]:
    """Sample numbers of what an emulated sensor says it sent."""
    return [n for first, end in runs for n in range(first, end)]


def descriptors() -> int:
    """Files and sockets that this process has open; Linux only, as the rig is."""
    return len(list(Path("/proc/self/fd").iterdir()))
