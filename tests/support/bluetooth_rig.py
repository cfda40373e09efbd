"""A private D-Bus with an emulated Bluetooth service, for tests of the real Bluetooth client.

Everything stays on this D-Bus: no radio and no system service is touched.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PELVIS, UPPER_BACK = "C0:00:00:00:00:01", "C0:00:00:00:00:02"
BUS_CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>session</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_type="method_call"/>
    <allow send_type="signal"/>
    <allow send_requested_reply="true" send_type="method_return"/>
    <allow send_requested_reply="true" send_type="error"/>
    <allow receive_type="method_call"/>
    <allow receive_type="method_return"/>
    <allow receive_type="error"/>
    <allow receive_type="signal"/>
  </policy>
</busconfig>
"""
REQUIRED = "TORSOLOG_RIG_REQUIRED"
"""Set where the rig must run: a missing part then fails the test instead of skipping it."""


def why_not() -> str | None:
    """Why the rig cannot run here."""
    if sys.platform != "linux":
        return "the emulated Bluetooth service is that of Linux"
    if shutil.which("dbus-daemon") is None:
        return "needs dbus-daemon (Debian: package dbus)"
    return None


@contextlib.contextmanager
def private_bus() -> Iterator[str]:
    """Address of a D-Bus that is ours alone; it is the system bus of this process meanwhile."""
    folder = Path(tempfile.mkdtemp(prefix="rig"))  # short: a socket's path has at most 107 bytes
    config = folder / "bus.conf"
    config.write_text(BUS_CONFIG.format(socket=folder / "bus"), "utf-8")
    command = ["dbus-daemon", f"--config-file={config}", "--nofork", "--nopidfile"]
    daemon = subprocess.Popen(
        [*command, "--print-address=1"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert daemon.stdout is not None
    before = os.environ.get("DBUS_SYSTEM_BUS_ADDRESS")
    try:
        address = daemon.stdout.readline().decode().strip()
        assert address, "dbus-daemon did not start"
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = address
        yield address
    finally:
        if before is None:
            os.environ.pop("DBUS_SYSTEM_BUS_ADDRESS", None)
        else:
            os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = before
        daemon.terminate()
        daemon.wait()
        daemon.stdout.close()
        shutil.rmtree(folder, ignore_errors=True)


class BluetoothRig:
    """The emulated service as a process of its own, and a line of orders to it."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._bus: Any = None
        self._added: list[dict[str, Any]] = []

    async def start(self) -> None:
        """Bring the service up, with the sensors it had before."""
        self._process = subprocess.Popen(  # noqa: ASYNC220 - up within a tenth of a second
            [sys.executable, "-m", "tests.support.fake_bluez"], cwd=ROOT, stdout=subprocess.PIPE
        )
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == b"ready\n"
        for settings in self._added:
            await self.order("add", settings=settings)

    def kill(self) -> None:
        """End the service as a crash does."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None

    async def add(self, address: str, **settings: Any) -> None:
        """Put a sensor within reach."""
        settings["address"] = address
        self._added.append(settings)
        await self.order("add", settings=settings)

    async def add_pair(self, **settings: Any) -> None:
        """Put a pelvis and an upper-back sensor within reach."""
        await self.add(PELVIS, name="torsolog P", **settings)
        await self.add(UPPER_BACK, name="torsolog U", **settings)

    async def state(self, address: str) -> dict[str, Any]:
        """What the sensor says of itself; `senders`: connections that are notified."""
        return dict(await self.order("state", address=address))

    async def fail(self, member: str, *errors: tuple[str, str] | None) -> None:
        """Let the next calls of a method fail; None lets one pass."""
        await self.order("fail", member=member, with_errors=errors)

    async def order(self, do: str, **details: Any) -> Any:
        """Have an order carried out; its answer."""
        from dbus_fast import BusType, Message, MessageType  # noqa: PLC0415 - only there on Linux
        from dbus_fast.aio import MessageBus  # noqa: PLC0415

        if self._bus is None:
            self._bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
        message = Message(
            destination="org.bluez",
            path="/rig",
            interface="org.torsolog.Rig",
            member="Order",
            signature="s",
            body=[json.dumps({"do": do, **details})],
        )
        reply = await self._bus.call(message)
        assert reply.message_type is MessageType.METHOD_RETURN, reply.body
        return json.loads(reply.body[0])

    async def close(self) -> None:
        """End everything."""
        if self._bus is not None:
            self._bus.disconnect()
            await self._bus.wait_for_disconnect()
            self._bus = None
        self.kill()


@contextlib.asynccontextmanager
async def bluetooth_rig() -> AsyncIterator[BluetoothRig]:
    """An emulated Bluetooth service without sensors; skips the test where it cannot be."""
    reason = why_not()
    if reason is not None:
        if os.environ.get(REQUIRED):
            pytest.fail(reason)
        pytest.skip(reason)
    with private_bus():
        rig = BluetoothRig()
        try:
            await rig.start()
            yield rig
        finally:
            await rig.close()
