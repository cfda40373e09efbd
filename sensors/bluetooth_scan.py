"""Which sensors are in reach, how strong their signal is, and which profile fits each."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Final, Self

from bleak import BleakAdapter, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakDeviceNotFoundError, BleakError

from sensors.bluetooth_obstacles import BLUETOOTH_ERRORS
from sensors.called_off import whole
from sensors.profile import Profile
from sensors.profile_library import ProfileLibrary

log = logging.getLogger(__name__)

STRONG_DBM: Final = -65
FAIR_DBM: Final = -80
"""Received signal strength of a sensor on the body in the same room, and where losses begin to be
likely (common practice, no source)."""
_NO_SIGNAL_DBM: Final = -127
"""What bleak gives where the system tells no strength."""
_GENERIC: Final = ("1800", "1801")
"""Services that every Bluetooth LE device has: Generic Access and Generic Attribute."""
_SWITCH_S: Final = 3.0
"""How long a scan may take to end, and to begin where it is called off meanwhile, s."""


@dataclass(frozen=True, slots=True)
class SeenSensor:
    """A device in reach. rssi_dbm: signal strength, None where unknown or while it is connected.

    profile: the one that fits its advertisement best; None: none does.
    """

    address: str
    name: str
    rssi_dbm: int | None
    profile: Profile | None
    connected: bool = False

    @property
    def signal(self) -> str:
        """The strength in a word."""
        if self.rssi_dbm is None:
            return "connected" if self.connected else "unknown"
        if self.rssi_dbm >= STRONG_DBM:
            return "strong"
        return "fair" if self.rssi_dbm >= FAIR_DBM else "weak"


class SensorScan:
    """Scans while entered. Raises what bleak raises for a scan that cannot be.

    `changed` is set whenever something was seen.
    """

    def __init__(self, library: ProfileLibrary) -> None:
        self.changed = asyncio.Event()
        self._library = library
        self._seen: dict[str, SeenSensor] = {}
        self._scanner = BleakScanner(detection_callback=self._detected)
        self._stack = contextlib.AsyncExitStack()

    async def __aenter__(self) -> Self:
        for device in await connected_devices(self._library.profiles):
            profile = self._library.recognise(device.name)
            self._see(SeenSensor(device.address, device.name or "", None, profile, connected=True))
        await self._stack.enter_async_context(_scanning(self._scanner))
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self._stack.__aexit__(kind, error, trace)

    def sensors(self) -> list[SeenSensor]:
        """Those that a profile fits."""
        return [one for one in self.devices() if one.profile is not None]

    def devices(self) -> list[SeenSensor]:
        """Everything in reach, the strongest signal first, then by name."""
        return sorted(
            self._seen.values(),
            key=lambda one: (-(one.rssi_dbm or _NO_SIGNAL_DBM), one.name, one.address),
        )

    def _detected(self, device: BLEDevice, advertised: AdvertisementData) -> None:
        name = advertised.local_name or device.name or ""
        profile = self._library.recognise(
            name, advertised.service_uuids, advertised.manufacturer_data
        )
        rssi = advertised.rssi if advertised.rssi > _NO_SIGNAL_DBM else None
        self._see(SeenSensor(device.address, name, rssi, profile))

    def _see(self, sensor: SeenSensor) -> None:
        self._seen[sensor.address] = sensor
        self.changed.set()


async def scan_for(library: ProfileLibrary, seconds: float) -> list[SeenSensor]:
    """Everything seen in a scan of that length; `SensorScan.devices` says in which order."""
    async with SensorScan(library) as scan:
        await asyncio.sleep(seconds)
        return scan.devices()


async def find_held(address: str, profile: Profile) -> BLEDevice | None:
    """A sensor that this computer is still connected to, from a run that was killed.

    It does not advertise, so no scan finds it. The system may be mistaken after a restart of its
    Bluetooth service: where connecting fails, scan. Raises what bleak raises.
    """
    for device in await connected_devices((profile,)):
        if device.address.lower() == address.lower():
            return device
    return None


async def find(address: str, timeout_s: float) -> BLEDevice:
    """A sensor that advertises, by its address, to connect to.

    Raises BleakDeviceNotFoundError, and what bleak raises for a scan.
    """
    found: asyncio.Future[BLEDevice] = asyncio.get_running_loop().create_future()

    def detected(device: BLEDevice, _: AdvertisementData) -> None:
        if device.address.lower() == address.lower() and not found.done():
            found.set_result(device)

    async with _scanning(BleakScanner(detection_callback=detected)):
        await asyncio.wait({found}, timeout=timeout_s)
    if not found.done():
        raise BleakDeviceNotFoundError(address, f"{address} was not seen in {timeout_s:g} s")
    return found.result()


@contextlib.asynccontextmanager
async def _scanning(scanner: BleakScanner) -> AsyncIterator[None]:
    """Scan in the block. Raises what bleak raises for a scan that cannot begin or end.

    A cancel while it begins lets it begin and ends it: half begun, it would stay on in the system,
    which then refuses the next one. Where the block ends by an error of its own, a scan that cannot
    be ended is only logged.
    """
    try:
        await whole(scanner.start(), _SWITCH_S)
    except asyncio.CancelledError:
        await _end_quietly(scanner)
        raise
    try:
        yield
    except BaseException:
        await _end_quietly(scanner)
        raise
    await _end(scanner)


async def _end(scanner: BleakScanner) -> None:
    """End a scan. Raises what bleak raises; TimeoutError where nobody answers.

    A call on a connection that is closed already is answered by nobody (dbus-fast 5.2): asking for
    the adapter first finds that out, or connects anew. One that is switched off can be told.
    """
    async with asyncio.timeout(_SWITCH_S):
        with contextlib.suppress(NotImplementedError, BleakError):
            await BleakAdapter.get()
        await scanner.stop()


async def _end_quietly(scanner: BleakScanner) -> None:
    try:
        await _end(scanner)
    except BLUETOOTH_ERRORS as error:
        log.info("a scan could not be ended: %s", error)


async def connected_devices(profiles: Sequence[Profile]) -> list[BLEDevice]:
    """Devices that this computer is connected to and that may be ours."""
    services = [*_GENERIC]
    for profile in profiles:
        services += profile.recognise.services
    with contextlib.suppress(NotImplementedError):
        adapter = await BleakAdapter.get()
        return await adapter.get_connected_devices(services)
    return []
