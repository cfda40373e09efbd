"""One sensor kept connected: found, subscribed to, started, watched, and connected again.

    find -> connect -> subscribe -> start -> watch -> (lost or silent) -> disconnect -> wait -> find

Two rules of the systems below are behind the order. Notifications belong to the client, and outlive
the link: only a disconnect after every loss keeps samples from coming twice. Not every loss is
told: a device may vanish and the system's service may end without a word, so silence counts too.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass
from typing import Final, NoReturn

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice

from sensors.backoff import backoff_delays
from sensors.bluetooth_obstacles import (
    BLUETOOTH_ERRORS,
    LinkLostError,
    Obstacle,
    SilentSensorError,
    obstacle_of,
)
from sensors.bluetooth_scan import find, find_held
from sensors.called_off import whole
from sensors.profile import Profile

_FIRST_CONNECT_S: Final = 0.5
"""How long a connect goes on when it is called off: bleak asks for the system's version first, and
if that is broken off every later connect of the process hangs (bleak 3.1)."""


@dataclass(frozen=True, slots=True)
class LinkTiming:
    """Times of a link, s.

    Longest search (the other sensor waits meanwhile) and connect, silence that is told and that
    ends the link, pause between two readings of the battery, how long an orderly end may take, how
    often to look.
    """

    find_s: float = 4.0
    connect_s: float = 15.0
    silent_s: float = 1.0
    give_up_s: float = 4.0
    battery_every_s: float = 60.0
    close_s: float = 3.0
    look_every_s: float = 0.1


@dataclass(frozen=True, slots=True)
class LinkedSensor:
    """The sensor to connect to. called: for people, "pelvis sensor (torsolog 12)"."""

    address: str
    called: str
    profile: Profile


@dataclass(frozen=True, slots=True)
class Linked:
    """Connected; what comes from now on comes over this link."""

    address: str


@dataclass(frozen=True, slots=True)
class Notified:
    """A packet. received_s: time.monotonic() when it came."""

    address: str
    received_s: float
    characteristic: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Silent:
    """Connected, but nothing came for `seconds`."""

    address: str
    seconds: float


@dataclass(frozen=True, slots=True)
class BatteryLevel:
    """Charge left, %."""

    address: str
    percent: int


@dataclass(frozen=True, slots=True)
class Unlinked:
    """No link. was_linked: there was one until now; else it could not be made."""

    address: str
    obstacle: Obstacle
    was_linked: bool


LinkEvent = Linked | Notified | Silent | BatteryLevel | Unlinked


class SensorLink:
    """Keeps one sensor connected. All events go to `deliver`, in order, in the loop's thread.

    radio: held while a sensor is searched and connected, one for all links of a computer.
    delays: the waits between tries; they begin anew once samples have come.
    """

    def __init__(
        self,
        sensor: LinkedSensor,
        deliver: Callable[[LinkEvent], None],
        radio: asyncio.Lock,
        *,
        timing: LinkTiming | None = None,
        delays: Callable[[], Iterator[float]] = backoff_delays,
    ) -> None:
        self.sensor = sensor
        self._deliver = deliver
        self._radio = radio
        self._timing = timing if timing is not None else LinkTiming()
        self._delays = delays
        self._last_s = 0.0
        self._heard = False
        self._may_be_held = False
        self._told_silent = False
        self._battery_due_s = 0.0

    async def run(self) -> NoReturn:
        """Until cancelled; the sensor is then stopped and disconnected, as far as it can be."""
        delays = self._delays()
        while True:
            linked = self._heard = False
            try:
                async with self._connected() as (client, lost):
                    linked = True
                    self._deliver(Linked(self.sensor.address))
                    await self._stream(client, lost)
            except BLUETOOTH_ERRORS as error:
                obstacle = obstacle_of(error, self.sensor.called)
                self._deliver(Unlinked(self.sensor.address, obstacle, linked))
            if self._heard:
                delays = self._delays()
            await asyncio.sleep(next(delays))

    @contextlib.asynccontextmanager
    async def _connected(self) -> AsyncIterator[tuple[BleakClient, asyncio.Event]]:
        """A connected client, disconnected in the end whatever happens; the event: link lost."""
        lost = asyncio.Event()
        async with contextlib.AsyncExitStack() as stack:
            async with self._radio:
                device = await self._find()
                client = BleakClient(
                    device,
                    disconnected_callback=lambda _: lost.set(),
                    timeout=self._timing.connect_s,
                )
                stack.push_async_callback(self._disconnect, client)
                await _connect(client)
            yield client, lost

    async def _find(self) -> BLEDevice:
        """The device; every other time by a scan, whatever the system believes is connected."""
        self._may_be_held = not self._may_be_held
        if self._may_be_held:
            device = await find_held(self.sensor.address, self.sensor.profile)
            if device is not None:
                return device
        return await find(self.sensor.address, self._timing.find_s)

    async def _disconnect(self, client: BleakClient) -> None:
        """Free what the client holds. It does so also where this raises."""
        with contextlib.suppress(*BLUETOOTH_ERRORS, AssertionError):
            async with asyncio.timeout(self._timing.close_s):
                await client.disconnect()

    async def _stream(self, client: BleakClient, lost: asyncio.Event) -> NoReturn:
        """Subscribe, start and watch. Raises LinkLostError, SilentSensorError, errors of bleak."""
        self._last_s = self._battery_due_s = time.monotonic()
        self._told_silent = False
        profile = self.sensor.profile
        for uuid in profile.notify_characteristics:
            await client.start_notify(uuid, self._callback(uuid))
        try:
            for write in profile.start:
                await client.write_gatt_char(
                    write.characteristic, write.bytes, response=write.response
                )
            await self._watch(client, lost)
        finally:
            if not lost.is_set():
                await self._stop(client)

    def _callback(self, uuid: str) -> Callable[[BleakGATTCharacteristic, bytearray], None]:
        deliver, address = self._deliver, self.sensor.address

        def notified(_: BleakGATTCharacteristic, payload: bytearray) -> None:
            received_s = time.monotonic()
            self._last_s, self._heard, self._told_silent = received_s, True, False
            deliver(Notified(address, received_s, uuid, bytes(payload)))

        return notified

    async def _watch(self, client: BleakClient, lost: asyncio.Event) -> NoReturn:
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self._timing.look_every_s):
                    await lost.wait()
            if lost.is_set():
                raise LinkLostError("the link was lost")
            now_s = time.monotonic()
            quiet_s = now_s - self._last_s
            if quiet_s > self._timing.give_up_s:
                raise SilentSensorError(quiet_s)
            if quiet_s > self._timing.silent_s and not self._told_silent:
                self._told_silent = True
                self._deliver(Silent(self.sensor.address, quiet_s))
            if now_s >= self._battery_due_s:
                self._battery_due_s = now_s + self._timing.battery_every_s
                await self._read_battery(client)

    async def _read_battery(self, client: BleakClient) -> None:
        """A sensor that does not tell its battery is as good as any."""
        battery = self.sensor.profile.battery
        if battery is None:
            return
        with contextlib.suppress(*BLUETOOTH_ERRORS):
            async with asyncio.timeout(self._timing.close_s):
                value = await client.read_gatt_char(battery.characteristic)
            if value and value[0] <= 100:
                self._deliver(BatteryLevel(self.sensor.address, value[0]))

    async def _stop(self, client: BleakClient) -> None:
        """Stop the sensor and the notifications, as far as that is still possible."""
        with contextlib.suppress(*BLUETOOTH_ERRORS):
            async with asyncio.timeout(self._timing.close_s):
                for write in self.sensor.profile.stop:
                    await client.write_gatt_char(
                        write.characteristic, write.bytes, response=write.response
                    )
                for uuid in self.sensor.profile.notify_characteristics:
                    await client.stop_notify(uuid)


async def _connect(client: BleakClient) -> None:
    """Connect. A cancel comes through after a short while. Raises errors of bleak."""
    try:
        await whole(client.connect(), _FIRST_CONNECT_S)
    except (AttributeError, KeyError) as error:
        # bleak's tables of a device that vanishes while its services are read
        raise LinkLostError("the sensor went away while it was asked what it offers") from error
