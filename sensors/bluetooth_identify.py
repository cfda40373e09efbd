"""Which sensor is which, found out by moving one of them in the hand."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import Final, Self

import numpy as np

from sensors.backoff import backoff_delays
from sensors.bluetooth_link import LinkedSensor, LinkEvent, LinkTiming, Notified, SensorLink
from sensors.packet_decode import PacketDecoder

WINDOW_S: Final = 0.5
"""Speeds are means over this: a knock is no movement."""
MOVED_DPS: Final = 60.0
"""Turning in the hand is faster, a sensor at rest or its bias (a few deg/s) far slower."""
ALONE: Final = 3.0
"""The moved one turns so many times faster than every other: both in one bag do not count."""
LOOK_S: Final = 0.1


class SensorsInHand:
    """Several sensors connected at once while entered; how fast each turns."""

    def __init__(
        self,
        sensors: Sequence[LinkedSensor],
        *,
        timing: LinkTiming | None = None,
        delays: Callable[[], Iterator[float]] = backoff_delays,
    ) -> None:
        self._sensors = tuple(sensors)
        self._decoders = {one.address: PacketDecoder(one.profile) for one in sensors}
        self._speeds: dict[str, deque[tuple[float, float]]] = {
            one.address: deque() for one in sensors
        }
        self._timing = timing
        self._delays = delays
        self._stack = contextlib.AsyncExitStack()

    async def __aenter__(self) -> Self:
        radio = asyncio.Lock()
        for sensor in self._sensors:
            link = SensorLink(sensor, self._take, radio, timing=self._timing, delays=self._delays)
            task = asyncio.create_task(link.run(), name=f"in hand: {sensor.address}")
            self._stack.push_async_callback(_ended, task)
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._stack.aclose()

    def speeds_dps(self) -> dict[str, float | None]:
        """Mean angular speed of each sensor just now, deg/s; None: it does not send."""
        since_s = time.monotonic() - WINDOW_S
        found: dict[str, float | None] = {}
        for address, speeds in self._speeds.items():
            while speeds and speeds[0][0] < since_s:
                speeds.popleft()
            found[address] = float(np.mean([dps for _, dps in speeds])) if speeds else None
        return found

    async def moved(self) -> LinkedSensor:
        """The sensor that is turned in the hand while all others that send are still."""
        while True:
            await asyncio.sleep(LOOK_S)
            if (address := clearly_moving(self.speeds_dps())) is not None:
                return next(one for one in self._sensors if one.address == address)

    def _take(self, event: LinkEvent) -> None:
        if not isinstance(event, Notified):
            return
        samples = self._decoders[event.address].decode([event.payload], event.characteristic)
        if len(samples):
            speed = np.degrees(np.mean(np.linalg.norm(samples.gyro, axis=1)))
            self._speeds[event.address].append((event.received_s, float(speed)))


def clearly_moving(speeds_dps: dict[str, float | None]) -> str | None:
    """The one sensor that moves, by its address; None: none does, or more than one."""
    sending = sorted((dps, address) for address, dps in speeds_dps.items() if dps is not None)
    if not sending or sending[-1][0] < MOVED_DPS:
        return None
    fastest, address = sending[-1]
    if len(sending) > 1 and sending[-2][0] * ALONE > fastest:
        return None
    return address


async def _ended(task: asyncio.Task[None]) -> None:
    task.cancel()
    await asyncio.wait({task})
    if not task.cancelled() and (error := task.exception()) is not None:
        raise error
