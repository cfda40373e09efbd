"""What goes wrong with sensors over Bluetooth: said in plain words, and mended by itself."""

from __future__ import annotations

import signal
import subprocess
import sys

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakError,
)

from sensors.bluetooth_intake import SensorPhase
from sensors.bluetooth_obstacles import ObstacleKind, SilentSensorError, obstacle_of
from tests.support.bluetooth_rig import PELVIS, ROOT, bluetooth_rig
from tests.support.counted_samples import descriptors, expected, taking
from tests.support.emulated_sensor import MOTION

ACCESS_DENIED = ("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message")


async def assert_flows_again(rig, taken):
    """Samples come, each once, and nothing is left over from before."""
    await taken.flows()
    state = await rig.state(PELVIS)
    numbers = taken.numbers()
    assert numbers == expected(state["sent"])[: len(numbers)]
    assert state["senders"] == 1
    assert taken.source.sensors[0].phase is SensorPhase.STREAMING


async def test_a_sensor_that_falls_silent_is_said_and_goes_on_when_it_sends_again():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        async with taking("pelvis") as taken:
            await taken.flows()
            await rig.order("set", address=PELVIS, silent=True)
            await taken.says("is connected but sends nothing")
            assert taken.states()[-1] == "silent"
            assert taken.source.sensors[0].phase is SensorPhase.SILENT
            await rig.order("set", address=PELVIS, silent=False)
            await assert_flows_again(rig, taken)
            assert len(taken.streams["pelvis"]) == 1, "its count went on"
            assert "lost" not in taken.states()
            assert taken.lost() == taken.numbers()[-1] + 1 - len(taken.numbers()) > 0


async def test_a_sensor_that_stays_silent_is_connected_anew():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        async with taking("pelvis") as taken:
            await taken.flows()
            await rig.order("set", address=PELVIS, silent=True)
            await taken.until(lambda: taken.states()[-1] == "lost")
            await rig.order("set", address=PELVIS, silent=False)
            await assert_flows_again(rig, taken)
            assert taken.states()[-1] == "streaming"


async def test_a_device_that_vanishes_without_a_word_is_found_again():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        async with taking("pelvis") as taken:
            await taken.flows()
            await rig.order("forget", address=PELVIS)
            await taken.until(lambda: taken.states()[-1] == "lost")
            await assert_flows_again(rig, taken)


async def test_a_bluetooth_service_that_is_killed_and_comes_again_is_taken_up():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        async with taking("pelvis") as taken:
            await taken.flows()
            rig.kill()
            await taken.says("Bluetooth service does not answer: start it")
            had = len(taken.packets["pelvis"])
            await rig.start()
            await taken.flows()
            numbers = taken.numbers()[8 * had :]
            assert numbers == expected((await rig.state(PELVIS))["sent"])[: len(numbers)]
            assert len(taken.streams["pelvis"]) == 2


async def test_bluetooth_that_is_switched_off_and_on_is_taken_up():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        async with taking("pelvis") as taken:
            await taken.flows()
            await rig.order("power", on=False)
            await taken.says("Bluetooth is switched off: switch it on")
            assert taken.source.sensors[0].obstacle.kind is ObstacleKind.SWITCHED_OFF
            await rig.order("power", on=True)
            await assert_flows_again(rig, taken)
            assert taken.source.sensors[0].obstacle is None


async def test_a_missing_adapter_is_said():
    async with bluetooth_rig() as rig:
        await rig.order("unplug")
        async with taking() as taken:
            await taken.says("this computer has no Bluetooth LE adapter that works: plug one in")
            both = [one.obstacle for one in taken.source.sensors]
            await taken.until(lambda: all(one.obstacle for one in taken.source.sensors))
        assert len(taken.news) == 1, f"once for both sensors: {both}"


async def test_a_missing_right_is_said():
    async with bluetooth_rig() as rig:
        await rig.fail("GetManagedObjects", *[ACCESS_DENIED] * 50)
        async with taking("pelvis") as taken:
            await taken.says("Bluetooth may not be used from here: add yourself to the group")


async def test_a_sensor_that_is_not_there_is_said_once_and_taken_when_it_comes():
    async with bluetooth_rig() as rig:
        async with taking("pelvis") as taken:
            await taken.says("the pelvis sensor (torsolog P) is not to be seen: switch it on")
            assert taken.source.sensors[0].phase is SensorPhase.SOUGHT
            await rig.add_pair()
            await assert_flows_again(rig, taken)
        assert sum("not to be seen" in sentence for sentence in taken.news) == 1


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (("org.bluez.Error.Failed", "le-connection-abort-by-remote"), "does not take the connec"),
        (("org.bluez.Error.AuthenticationFailed", "Authentication Failed"), "any phone or other"),
        (("org.bluez.Error.InProgress", "Operation already in progress"), "does not take the con"),
        (("org.freedesktop.DBus.Error.UnknownObject", "gone"), "is not to be seen"),
        (("org.freedesktop.DBus.Error.NoReply", "Did not receive a reply"), "does not answer"),
    ],
)
async def test_a_connection_that_is_refused_is_said_and_tried_again(error, words):
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        await rig.fail("Connect", error, error)
        async with taking("pelvis") as taken:
            await assert_flows_again(rig, taken)
        assert words in taken.news[0]
        assert sum(words in sentence for sentence in taken.news) == 1


@pytest.mark.parametrize(
    ("code", "words"),
    [("0x0e", "cannot be used (GATT Protocol Error: Unlikely Error)"), ("0x05", "pair it once")],
)
@pytest.mark.parametrize("member", ["StartNotify", "WriteValue"])
async def test_a_sensor_that_cannot_be_started_is_tried_again(member, code, words):
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        failure = f"Operation failed with ATT error: {code}"
        await rig.fail(member, ("org.bluez.Error.Failed", failure))
        async with taking("pelvis") as taken:
            await assert_flows_again(rig, taken)
        assert words in taken.news[0]


async def test_services_that_are_never_told_are_waited_for_only_so_long():
    async with bluetooth_rig() as rig:
        await rig.add_pair(resolves=False)
        async with taking("pelvis") as taken:
            await taken.says("does not answer: bring it closer")
            await rig.order("set", address=PELVIS, resolves=True)
            await assert_flows_again(rig, taken)


async def test_a_link_lost_while_services_are_told_is_tried_again():
    async with bluetooth_rig() as rig:
        await rig.add_pair(resolve_delay_s=0.3)
        async with taking("pelvis") as taken:
            while not (await rig.state(PELVIS))["connected"]:  # each look waits for the service
                continue
            await rig.order("drop", address=PELVIS)
            await taken.says("is out of reach or switched off")
            await assert_flows_again(rig, taken)


async def test_a_sensor_of_another_kind_is_said():
    async with bluetooth_rig() as rig:
        await rig.add_pair(offers_motion=False)
        async with taking("pelvis") as taken:
            await taken.says("does not offer what its profile asks for: choose the profile")


async def test_a_low_battery_is_said_and_every_level_reported():
    async with bluetooth_rig() as rig:
        await rig.add_pair(battery=12)
        async with taking("pelvis") as taken:
            await taken.says("has 12 % of its battery left: charge it")
            await taken.until(lambda: bool(taken.reports))
            await taken.flows()
        assert taken.reports[-1].battery_percent == 12


async def test_connections_that_fail_leave_nothing_open():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        refused = ("org.bluez.Error.Failed", "le-connection-abort-by-remote")
        open_after = []
        async with taking("pelvis") as taken:
            for _ in range(3):
                await taken.flows()
                open_after.append(descriptors())
                await rig.fail("Connect", *[refused] * 5)
                await rig.order("drop", address=PELVIS)
        assert open_after == open_after[:1] * 3


KILLED = """
import asyncio, bleak
async def hold():
    device = await bleak.BleakScanner.find_device_by_address({address!r}, timeout=5)
    client = bleak.BleakClient(device)
    await client.connect()
    await client.start_notify({uuid!r}, lambda *_: None)
    print("held", flush=True)
    await asyncio.sleep(60)
asyncio.run(hold())
"""


async def test_a_sensor_still_connected_from_a_run_that_was_killed_is_taken_over():
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        program = KILLED.format(address=PELVIS, uuid=MOTION)
        with subprocess.Popen(  # noqa: ASYNC220 - the rig is a process of its own
            [sys.executable, "-c", program], stdout=subprocess.PIPE, cwd=ROOT
        ) as holder:
            assert holder.stdout.readline() == b"held\n"
            holder.send_signal(signal.SIGKILL)
        assert (await rig.state(PELVIS))["connected"], "it does not advertise now"
        async with taking("pelvis") as taken:
            await assert_flows_again(rig, taken)


NOT_AVAILABLE = BleakBluetoothNotAvailableReason


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (NOT_AVAILABLE.POWERED_OFF, ObstacleKind.SWITCHED_OFF, "switch it on"),
        (NOT_AVAILABLE.NO_BLUETOOTH, ObstacleKind.NO_ADAPTER, "plug one in"),
        (NOT_AVAILABLE.DENIED_BY_USER, ObstacleKind.NO_PERMISSION, "may not be used"),
        (NOT_AVAILABLE.UNKNOWN, ObstacleKind.NO_SERVICE, "does not answer"),
        (BleakDBusError("org.bluez.Error.NotReady", []), ObstacleKind.SWITCHED_OFF, "switch it on"),
        (FileNotFoundError(2, "no socket"), ObstacleKind.NO_SERVICE, "does not answer"),
        (PermissionError(13, "no"), ObstacleKind.NO_PERMISSION, "may not be used"),
        (TimeoutError(), ObstacleKind.NO_ANSWER, "bring it closer"),
        (SilentSensorError(4.0), ObstacleKind.SILENT, "sends nothing"),
        (BleakError("Could not get GATT services: Unreachable"), ObstacleKind.UNKNOWN, "PK-1"),
    ],
)
def test_every_obstacle_names_the_case_and_one_thing_to_do(error, kind, words, system):
    if isinstance(error, BleakBluetoothNotAvailableReason):
        error = BleakBluetoothNotAvailableError("no", error)
    obstacle = obstacle_of(error, "pelvis sensor (PK-1)", system=system)
    assert obstacle.kind is kind
    assert words in str(obstacle)
    assert obstacle.what
    assert obstacle.cure
    assert type(error).__name__ in obstacle.detail
