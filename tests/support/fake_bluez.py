"""The Bluetooth service of Linux, played on the tests' own D-Bus: adapter and sensors in software.

A program of its own; prints `ready`. What a real bluetoothd does and a client can see is kept, as
its documentation and source have it: notify sessions belong to the connection that asked and
outlive a lost link, a value is sent once for each of them, Connect answers before the services
are known, a scan sees only what advertises. Not played: the radio, pairing, the size of packets.
"""

from __future__ import annotations

import asyncio
import itertools
import json
import sys
import time
from collections.abc import Coroutine
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from tests.support.emulated_sensor import MOTION, EmulatedSensor
from tests.support.gatt_objects import ADAPTER, CHARACTERISTIC1, DEVICE1, adapter, device, gatt

NAME = "org.bluez"
ADAPTER1 = "org.bluez.Adapter1"
PROPERTIES = "org.freedesktop.DBus.Properties"
CONTROL_PATH, CONTROL_INTERFACE = "/rig", "org.torsolog.Rig"
ADVERTISE_S, DISCONNECT_S = 0.1, 0.02


class BluezError(Exception):
    """An error reply."""

    def __init__(self, name: str, text: str) -> None:
        super().__init__(text)
        self.name = name if "." in name else f"org.bluez.Error.{name}"


class FakeBluez:
    """Objects, emulated sensors by device path, who scans, who is notified, prepared failures."""

    def __init__(self, bus: MessageBus) -> None:
        self.bus = bus
        self.objects: dict[str, dict[str, dict[str, Variant]]] = {ADAPTER: adapter()}
        self.sensors: dict[str, EmulatedSensor] = {}
        self.scanning: set[str] = set()
        self.notified: dict[str, set[str]] = {}
        self.failures: dict[str, list[list[str] | None]] = {}
        self.calls: list[tuple[str, str]] = []
        self._tasks: set[asyncio.Task[None]] = set()
        self._connecting: dict[str, asyncio.Task[None]] = {}
        self._pumps: dict[str, asyncio.Task[None]] = {}
        self._rssi = itertools.cycle((-62, -58, -66, -60))

    # what is said on the bus

    def changed(self, path: str, interface: str, **properties: Variant) -> None:
        self.objects[path][interface].update(properties)
        self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", interface, properties, [])

    def add(self, path: str, interfaces: dict[str, dict[str, Variant]]) -> None:
        self.objects[path] = interfaces
        manager = "org.freedesktop.DBus.ObjectManager"
        self._signal("/", manager, "InterfacesAdded", "oa{sa{sv}}", path, interfaces)

    def remove(self, path: str) -> None:
        manager = "org.freedesktop.DBus.ObjectManager"
        for gone in [p for p in self.objects if p == path or p.startswith(path + "/")]:
            interfaces = list(self.objects.pop(gone))
            self._signal("/", manager, "InterfacesRemoved", "oas", gone, interfaces)
            self.notified.pop(gone, None)

    def _signal(self, path: str, interface: str, member: str, signature: str, *body: Any) -> None:
        self.bus.send(Message.new_signal(path, interface, member, signature, list(body)))

    # what is asked of it

    def handle(self, message: Message) -> Message | bool | None:
        """Answer a call; True: the answer comes later."""
        if message.message_type is MessageType.SIGNAL and message.member == "NameOwnerChanged":
            name, _, new = message.body
            if not new:
                self._forget_client(name)
            return None
        if message.message_type is not MessageType.METHOD_CALL or message.destination is None:
            return None
        if message.interface == CONTROL_INTERFACE:
            answer = json.dumps(self.control(json.loads(message.body[0])))
            return Message.new_method_return(message, "s", [answer])
        self.calls.append((message.path or "", message.member or ""))
        try:
            self._fail_if_prepared(message.member or "")
            return self._dispatch(message)
        except BluezError as error:
            return Message.new_error(message, error.name, str(error))

    def _fail_if_prepared(self, member: str) -> None:
        prepared = self.failures.get(member)
        failure = prepared.pop(0) if prepared else None
        if failure is not None:
            raise BluezError(*failure)

    def _dispatch(self, message: Message) -> Message | bool | None:
        path, member = message.path or "", message.member or ""
        if member == "GetManagedObjects":
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self.objects])
        if path not in self.objects:
            raise BluezError("org.freedesktop.DBus.Error.UnknownObject", f"no object {path}")
        later = {"Connect": self._connect, "Disconnect": self._disconnect}
        if member in later:
            task = self._run(self._answered(message, later[member](path)))
            if member == "Connect":
                self._connecting[path] = task
            return True
        now = {
            "SetDiscoveryFilter": lambda: None,
            "StartDiscovery": lambda: self._start_discovery(message.sender or ""),
            "StopDiscovery": lambda: self._stop_discovery(message.sender or ""),
            "RemoveDevice": lambda: self.forget(message.body[0]),
            "StartNotify": lambda: self._start_notify(path, message.sender or ""),
            "StopNotify": lambda: self._stop_notify(path, message.sender or ""),
            "WriteValue": lambda: self._write(path, bytes(message.body[0])),
        }
        if member == "ReadValue":
            return Message.new_method_return(message, "ay", [self._read(path)])
        if member not in now:
            raise BluezError("org.freedesktop.DBus.Error.UnknownMethod", f"no method {member}")
        now[member]()
        return Message.new_method_return(message)

    async def _answered(self, message: Message, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except BluezError as error:
            self.bus.send(Message.new_error(message, error.name, str(error)))
        except asyncio.CancelledError:
            text = "le-connection-canceled"
            self.bus.send(Message.new_error(message, "org.bluez.Error.Failed", text))
        else:
            self.bus.send(Message.new_method_return(message))

    # scanning

    def _start_discovery(self, sender: str) -> None:
        if not self.objects[ADAPTER][ADAPTER1]["Powered"].value:
            raise BluezError("NotReady", "Resource Not Ready")
        if sender in self.scanning:
            raise BluezError("InProgress", "Operation already in progress")
        self.scanning.add(sender)
        self.changed(ADAPTER, ADAPTER1, Discovering=Variant("b", True))

    def _stop_discovery(self, sender: str) -> None:
        if sender not in self.scanning:
            raise BluezError("Failed", "No discovery started")
        self.scanning.discard(sender)
        if not self.scanning:
            self.changed(ADAPTER, ADAPTER1, Discovering=Variant("b", False))

    async def advertise(self) -> None:
        """Let the scan see every sensor that advertises and is not connected."""
        while True:
            await asyncio.sleep(ADVERTISE_S)
            for path, sensor in self.sensors.items():
                if not (self.scanning and sensor.advertises and not sensor.connected):
                    continue
                rssi = next(self._rssi) + sensor.rssi_offset
                if path in self.objects:
                    self.changed(path, DEVICE1, RSSI=Variant("n", rssi))
                else:
                    self.add(path, {DEVICE1: device(sensor, rssi)})

    # links

    async def _connect(self, path: str) -> None:
        sensor = self.sensors[path]
        await asyncio.sleep(sensor.connect_delay_s)
        if not sensor.advertises:
            raise BluezError("Failed", "le-connection-abort-by-remote")
        sensor.connected = True
        self.changed(path, DEVICE1, Connected=Variant("b", True))
        self._run(self._resolve(path))

    async def _resolve(self, path: str) -> None:
        sensor = self.sensors[path]
        await asyncio.sleep(sensor.resolve_delay_s)
        if not sensor.connected or not sensor.resolves:
            return
        for part, interfaces in gatt(path, sensor).items():
            if part not in self.objects:
                self.add(part, interfaces)
        self.changed(path, DEVICE1, ServicesResolved=Variant("b", True))
        self._pump(path)

    async def _disconnect(self, path: str) -> None:
        connecting = self._connecting.pop(path, None)
        if connecting is not None and not connecting.done():
            connecting.cancel()
        await asyncio.sleep(DISCONNECT_S)
        self.link_down(path)

    def link_down(self, path: str) -> None:
        """The link ends. Objects and notify sessions stay, as a bluetoothd keeps them."""
        sensor = self.sensors[path]
        if pump := self._pumps.pop(path, None):
            pump.cancel()
        sensor.link_lost()
        no = Variant("b", False)
        self.changed(path, DEVICE1, ServicesResolved=no, Connected=no)

    def forget(self, path: str) -> None:
        """Take a device and what hangs on it away, saying nothing of its link."""
        if path not in self.objects:
            raise BluezError("DoesNotExist", "Does Not Exist")
        if pump := self._pumps.pop(path, None):
            pump.cancel()
        self.sensors[path].link_lost()
        self.remove(path)

    # characteristics

    def _characteristic(self, path: str) -> tuple[EmulatedSensor, str]:
        """The sensor and the UUID of a characteristic."""
        uuid: str = self.objects[path][CHARACTERISTIC1]["UUID"].value
        sensor = self.sensors[device_of(path)]
        if not sensor.connected:
            raise BluezError("Failed", "Not connected")
        return sensor, uuid

    def _read(self, path: str) -> bytes:
        sensor, uuid = self._characteristic(path)
        return sensor.read(uuid)

    def _write(self, path: str, value: bytes) -> None:
        sensor, uuid = self._characteristic(path)
        sensor.written(uuid, value)
        self._pump(device_of(path))

    def _start_notify(self, path: str, sender: str) -> None:
        if "notify" not in self.objects[path][CHARACTERISTIC1]["Flags"].value:
            raise BluezError("NotSupported", "Operation is not supported")
        self._characteristic(path)
        self.notified.setdefault(path, set()).add(sender)
        self.changed(path, CHARACTERISTIC1, Notifying=Variant("b", True))
        self._pump(device_of(path))

    def _stop_notify(self, path: str, sender: str) -> None:
        if sender not in self.notified.get(path, set()):
            raise BluezError("Failed", "No notify session started")
        self.notified[path].discard(sender)
        if not self.notified[path]:
            self.changed(path, CHARACTERISTIC1, Notifying=Variant("b", False))

    def _forget_client(self, name: str) -> None:
        if name in self.scanning:
            self._stop_discovery(name)
        for senders in self.notified.values():
            senders.discard(name)

    def _pump(self, path: str) -> None:
        running = self._pumps.get(path)
        if running is None or running.done():
            self._pumps[path] = self._run(self._send_samples(path))

    async def _send_samples(self, path: str) -> None:
        """Packets at the sensor's connection events, each once for every notify session."""
        sensor = self.sensors[path]
        event = time.monotonic()
        while sensor.sending:
            place = self._motion(path)
            for payload, first in sensor.due(time.monotonic()):
                sessions = len(self.notified.get(place, ()))
                for _ in range(sessions):
                    self.changed(place, CHARACTERISTIC1, Value=Variant("ay", payload))
                if sessions:
                    sensor.sent(first)
            event += sensor.interval_s
            await asyncio.sleep(max(0.0, event - time.monotonic()))

    def _motion(self, path: str) -> str:
        """Path of the characteristic that a device sends its samples on."""
        for part, interfaces in self.objects.items():
            known = interfaces.get(CHARACTERISTIC1)
            if known and part.startswith(path + "/") and known["UUID"].value == MOTION:
                return part
        return ""

    # the test's hand

    def control(self, order: dict[str, Any]) -> Any:
        """Carry out an order of the test."""
        do, path = order.pop("do"), path_of(order.pop("address", ""))
        if do == "add":
            sensor = EmulatedSensor(**order["settings"])
            self.sensors[path_of(sensor.address)] = sensor
        elif do == "set":
            for name, value in order.items():
                setattr(self.sensors[path], name, value)
            self._pump(path)
        elif do == "drop":
            self.link_down(path)
        elif do == "forget":
            self.forget(path)
        elif do == "power":
            self._power(on=order["on"])
        elif do == "unplug":
            self.remove(ADAPTER)
        elif do == "fail":
            self.failures.setdefault(order["member"], []).extend(order["with_errors"])
        elif do == "state":
            return self._state(path)
        elif do == "sent at":
            return self.sensors[path].sent_at
        elif do == "calls":
            return self.calls
        else:
            raise ValueError(do)
        return None

    def _power(self, *, on: bool) -> None:
        self.changed(ADAPTER, ADAPTER1, Powered=Variant("b", on))
        if not on:
            for path, sensor in self.sensors.items():
                if sensor.connected:
                    self.link_down(path)
            self.scanning.clear()

    def _state(self, path: str) -> dict[str, Any]:
        senders = {s for p, who in self.notified.items() if device_of(p) == path for s in who}
        return {**self.sensors[path].told(), "senders": len(senders)}

    def _run(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task


def path_of(address: str) -> str:
    """Object path of a device."""
    return f"{ADAPTER}/dev_{address.replace(':', '_')}"


def device_of(path: str) -> str:
    """Object path of the device that a characteristic belongs to."""
    return "/".join(path.split("/")[:5])


async def serve() -> None:
    """Take the name and serve until the bus or the process ends."""
    bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
    bluez = FakeBluez(bus)
    bus.add_message_handler(bluez.handle)
    rule = "type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'"
    watch = Message(
        destination="org.freedesktop.DBus",
        path="/org/freedesktop/DBus",
        interface="org.freedesktop.DBus",
        member="AddMatch",
        signature="s",
        body=[rule],
    )
    await bus.call(watch)
    await bus.request_name(NAME)
    print("ready", flush=True)
    advertising = asyncio.create_task(bluez.advertise())
    await bus.wait_for_disconnect()
    advertising.cancel()


if __name__ == "__main__":
    sys.exit(asyncio.run(serve()))
