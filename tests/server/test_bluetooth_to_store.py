"""From emulated sensors through the real Bluetooth client and collector into the real service."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sqlite3
from dataclasses import dataclass

import numpy as np
import pytest
from websockets.asyncio.client import connect

from sensors.bluetooth_source import BluetoothSource
from sensors.collector import Collector
from sensors.disk_spool import DiskSpool
from sensors.spool import MemorySpool
from server.cli.service_address import ServiceUrl
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK, bluetooth_rig
from tests.support.counted_samples import QUICK, expected, numbers_of, worn
from tests.support.running_service import running

AT = {"pelvis": PELVIS, "upper_back": UPPER_BACK}


@dataclass
class Stored:
    """A segment's samples as they lie in the file: numbers, times, what is said to be missing."""

    numbers: list[int]
    time_s: np.ndarray
    streams: list[str]
    lost: int


def stored(database, segment):
    """Read with nothing of ours but the byte layout of the columns."""
    query = (
        "SELECT time_s, gyro, accel, lost_before, stream_id FROM batches "
        "JOIN streams ON streams.id = stream_id WHERE segment = ? ORDER BY batches.id"
    )
    with contextlib.closing(sqlite3.connect(database)) as connection:
        rows = connection.execute(query, (segment,)).fetchall()
    time_s, gyro, accel = (b"".join(row[column] for row in rows) for column in range(3))
    vectors = (np.frombuffer(data, "<f4").reshape(-1, 3) for data in (gyro, accel))
    return Stored(
        numbers_of(*vectors),
        np.frombuffer(time_s, "<f8"),
        list(dict.fromkeys(row[4] for row in rows)),
        sum(row[3] for row in rows),
    )


@contextlib.asynccontextmanager
async def collecting(address, spool):
    """A collector of both sensors, stopped in the end."""
    source = BluetoothSource(worn(), timing=QUICK)
    collector = Collector(source, ServiceUrl.parse(address, None).for_collector(), spool)
    stop = asyncio.Event()
    run = asyncio.create_task(collector.run(stop))
    try:
        yield collector
    finally:
        stop.set()
        await run


async def until_sent(rig, address, samples):
    """Wait until a sensor has sent that many samples."""
    async with asyncio.timeout(15):
        while len(expected((await rig.state(address))["sent"])) < samples:  # noqa: ASYNC110
            await asyncio.sleep(0.02)


async def test_a_lost_sensor_is_said_on_the_live_channel_at_once(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        async with collecting(service.address, MemorySpool()):
            await until_sent(rig, PELVIS, 100)
            async with connect(service.live_address) as live:
                states = asyncio.create_task(state_after(live, "pelvis", "lost"))
                await rig.order("set", address=PELVIS, advertises=False)
                await rig.order("drop", address=PELVIS)
                lost_s = asyncio.get_running_loop().time()
                assert await states == {"pelvis": "lost", "upper_back": "streaming"}
                assert asyncio.get_running_loop().time() - lost_s < 3.0
                await rig.order("set", address=PELVIS, advertises=True)
                assert (await state_after(live, "pelvis", "streaming"))["pelvis"] == "streaming"


async def state_after(live, segment, wanted):
    """The states of both sensors once that of a segment is as wanted."""
    async with asyncio.timeout(10):
        async for frame in live:
            message = json.loads(frame)
            if message["type"] == "status":
                states = {one["segment"]: one["state"] for one in message["streams"]}
                if states.get(segment) == wanted:
                    return states
    return {}


@pytest.mark.parametrize("after_loss", ["runs on", "restarts"])
async def test_every_sample_sent_is_stored_once_and_a_gap_is_marked(tmp_path, settings, after_loss):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair(after_loss=after_loss)
        async with collecting(service.address, DiskSpool(tmp_path / "run")):
            await until_sent(rig, PELVIS, 200)
            await rig.order("drop", address=PELVIS)
            await until_sent(rig, PELVIS, 400)
            await until_sent(rig, UPPER_BACK, 400)
        for segment, address in AT.items():
            sent = expected((await rig.state(address))["sent"])
            found = stored(tmp_path / "torsolog.db", segment)
            assert found.numbers == sent[: len(found.numbers)]
            assert len(sent) - len(found.numbers) <= 24, "all but what came after the stop"
            steps = np.diff(found.time_s)
            assert (steps > 0.0).all()
            if segment == "upper_back":
                assert (found.lost, len(found.streams)) == (0, 1)
                assert steps.max() < 0.01
            else:
                assert len(found.streams) == (1 if after_loss == "runs on" else 2)
                assert found.lost / 200.0 == pytest.approx(steps.max(), abs=0.06)
                assert (steps > 0.02).sum() == 1
