"""`torsolog sensors` and `torsolog collect --source bluetooth`, as processes of their own."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sys

import numpy as np
import pytest

from sensors.sensor_book import KnownSensor, SensorBook
from server.settings import Settings, sqlite_url
from tests.support.bluetooth_rig import PELVIS, ROOT, UPPER_BACK, bluetooth_rig
from tests.support.counted_samples import expected
from tests.support.running_service import running


@pytest.fixture
def config(tmp_path, monkeypatch):
    """The user's configuration folder of this test."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path / "config" / "torsolog"


@pytest.fixture
def command(torsolog):
    """Run a command beside the test's own event loop."""

    async def run(*arguments):
        return await asyncio.to_thread(torsolog, *arguments)

    return run


async def collecting(address):
    """`torsolog collect` as a process of its own, to be stopped by Ctrl-C."""
    return await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "server.cli"),
        *("collect", "--source", "bluetooth", "--service", address),
        cwd=ROOT,
        env=os.environ,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )


async def test_sensors_are_listed_given_a_place_and_collected_from(tmp_path, config, command):
    async with bluetooth_rig() as rig, running(Settings(sqlite_url(tmp_path / "t.db"))) as service:
        await rig.add_pair()
        await rig.add("C0:00:00:00:00:09", name="kettle", advertised_services=[])
        listed = await command("sensors", "--seconds", 0.4)
        assert listed.code == 0, listed.err
        rows = [line.split() for line in listed.out.splitlines()[1:]]
        assert {(row[0], row[3]) for row in rows} == {("-", PELVIS), ("-", UPPER_BACK)}
        assert "dBm, strong" in listed.out
        assert "open-sensor" in listed.out
        assert "kettle" in (await command("sensors", "--seconds", 0.4, "--all")).out

        place = ("--pelvis", PELVIS, "--upper-back", "TORSOLOG u")
        chosen = await command("sensors", "--seconds", 0.4, *place)
        assert chosen.code == 0, chosen.err
        assert f"upper back  torsolog U  {UPPER_BACK}" in chosen.out
        book = json.loads((config / "sensors.json").read_text())
        assert [one["segment"] for one in book["sensors"]] == ["pelvis", "upper_back"]

        process = await collecting(service.address)
        async with asyncio.timeout(20):
            while len(expected((await rig.state(UPPER_BACK))["sent"])) < 200:  # noqa: ASYNC110
                await asyncio.sleep(0.05)
        process.send_signal(signal.SIGINT)
        out, err = (part.decode() for part in await process.communicate())
        assert process.returncode == 0, err
        assert "the pelvis sensor (torsolog P) sends" in err
        session = (await service.http.get(f"/api/sessions/{out.strip()}")).json()
        assert session["open"] is False
        for address in (PELVIS, UPPER_BACK):
            state = await rig.state(address)
            assert (state["stops"], state["connected"], state["senders"]) == (1, False, 0)


async def test_which_sensor_is_which_is_found_out_by_turning_one(tmp_path, config, command):
    gyro = np.zeros((4000, 3), dtype=np.int16)
    np.savez(tmp_path / "still.npz", gyro=gyro, accel=gyro)
    np.savez(tmp_path / "turned.npz", gyro=gyro + 2000, accel=gyro)
    async with bluetooth_rig() as rig:
        for address, motion in ((UPPER_BACK, "turned"), (PELVIS, "still")):
            name = f"torsolog {motion}"
            await rig.add(address, name=name, motion=str(tmp_path / f"{motion}.npz"))
        answer = await command("sensors", "--seconds", 0.4, "--identify")
        assert answer.code == 0, answer.err
    assert "take the pelvis sensor and turn it" in answer.err
    assert SensorBook().worn_on("pelvis").address == UPPER_BACK, "the one that was turned"
    assert SensorBook().worn_on("upper_back").address == PELVIS


async def test_a_place_for_a_sensor_that_is_not_there_is_refused(config, command):
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        answer = await command("sensors", "--seconds", 0.4, "--pelvis", "my sensor")
        assert (answer.code, answer.out) == (1, "")
        assert "no sensor in reach is called 'my sensor'; there is: torsolog" in answer.err
        assert not config.exists()
        await rig.order("power", on=False)
        answer = await command("sensors", "--seconds", 0.4)
        assert answer.code == 1
        assert answer.err.startswith("torsolog: Bluetooth is switched off: switch it on in the sys")


def test_without_remembered_sensors_collecting_says_how_to_choose_them(torsolog, config):
    answer = torsolog("collect", "--source", "bluetooth", "--service", "http://127.0.0.1:9")
    assert answer.code == 1
    assert "no sensor is remembered for the pelvis and the upper back" in answer.err
    assert "`torsolog sensors --pelvis SENSOR --upper-back SENSOR`" in answer.err
    assert not config.exists()


def test_what_holds_the_sensors_is_remembered_and_can_be_taken_back(torsolog, config):
    refused = torsolog("sensors", "--fixing", "strapped")
    assert refused.code == 1
    assert "say first which is worn where" in refused.err
    for segment, address in (("pelvis", "AA"), ("upper_back", "BB")):
        SensorBook().assign(KnownSensor(address=address, name="x", profile="p", segment=segment))
    assert torsolog("sensors", "--fixing", "strapped").out.count("strapped") == 2
    torsolog("sensors", "--swap")
    assert [one.fixing for one in SensorBook().sensors] == ["strapped", "strapped"]
    torsolog("sensors", "--fixing", "unknown")
    assert [one.fixing for one in SensorBook().sensors] == [None, None]


def test_sensors_are_changed_over_and_forgotten(torsolog, config):
    book = SensorBook()
    for segment, address in (("pelvis", "AA"), ("upper_back", "BB")):
        book.assign(KnownSensor(address=address, name="x", profile="p", segment=segment))
    assert "pelvis      x     BB" in torsolog("sensors", "--swap").out
    assert SensorBook().worn_on("pelvis").address == "BB"
    assert torsolog("sensors", "--forget", "bb").code == 0
    assert [one.address for one in SensorBook().sensors] == ["AA"]
    assert torsolog("sensors", "--forget", "CC").code == 1
    (config / "sensors.json").write_text("{")
    assert "not a list of remembered sensors" in torsolog("sensors").err
