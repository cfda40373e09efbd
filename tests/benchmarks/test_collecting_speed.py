"""How fast recordings are read and written and streams are sent; prints a table (pytest -s)."""

from __future__ import annotations

import asyncio
import os
import platform
import resource
import time

import numpy as np
import pytest

from sensors.collector import Collector
from sensors.disk_spool import DiskSpool
from sensors.recording import Recording, SensorRecording, read_recording
from sensors.recording_writer import EXACT, SHORT, DatasetFacts, write_recording
from sensors.replay import ReplaySource
from tests.support.ingest_server import ingest_server

RATE_HZ = 200.0
HOUR_S = 3600.0
FACTS = DatasetFacts("Benchmark", ("A", "B"), "Noise.\n")


def noise(seconds: float) -> Recording:
    """Two sensors that record noise."""
    count = int(seconds * RATE_HZ)
    rng = np.random.default_rng(0)

    def sensor(segment) -> SensorRecording:
        gyro, accel = rng.normal(0, 3, (2, count, 3)).astype(np.float32).astype(np.float64)
        return SensorRecording(segment, np.arange(count) / RATE_HZ, gyro, accel, RATE_HZ)

    return Recording("sub-01_task-swing", sensor("pelvis"), sensor("upper_back"))


def told(what: str, figure: str) -> None:
    print(f"\n| {what} | {figure} | {platform.machine()}, {os.cpu_count()} cores |", end="")


@pytest.mark.parametrize("values", [EXACT, SHORT], ids=["every digit", "short"])
def test_an_hour_of_two_sensors_is_written_and_read_in_seconds(tmp_path, values, request):
    recorded = noise(HOUR_S)
    begin = time.perf_counter()
    write_recording(tmp_path / "set", recorded, FACTS, values=values)
    written = time.perf_counter()
    read = read_recording(tmp_path / "set")
    done = time.perf_counter()
    size = sum(path.stat().st_size for path in (tmp_path / "set").rglob("*.tsv")) / 1e6
    told(
        f"1 h, 2 sensors, 200 Hz, {request.node.callspec.id}, {size:.0f} MB",
        f"write {written - begin:.1f} s, read {done - written:.1f} s",
    )
    assert len(read.pelvis.time_s) == len(recorded.pelvis.time_s)
    assert done - written < 10.0


async def test_streams_are_sent_far_faster_than_they_are_made(tmp_path):
    """Through the spool on disk and a real socket; the receiver shares the core."""
    seconds = 1200.0
    async with ingest_server() as server:
        spool = DiskSpool(tmp_path / "run")
        collector = Collector(ReplaySource(noise(seconds), speed=0.0), server.address, spool)
        cpu, begin = time.process_time(), time.perf_counter()
        await collector.run()
        cpu, wall = time.process_time() - cpu, time.perf_counter() - begin
        assert server.received_batches >= 2 * seconds / 0.1
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told(
        "collect, spool on disk, both ends in one process",
        f"{seconds / wall:.0f} times real time, {100 * cpu / seconds:.1f} % of a core, "
        f"peak {peak:.0f} MB",
    )
    assert seconds / wall > 20.0


async def test_a_live_stream_costs_little(tmp_path):
    seconds = 5.0
    async with ingest_server() as server:
        spool = DiskSpool(tmp_path / "run")
        collector = Collector(ReplaySource(noise(seconds), speed=1.0), server.address, spool)
        cpu = time.process_time()
        await asyncio.wait_for(collector.run(), 4 * seconds)
        cpu = time.process_time() - cpu
    told("live, 2 sensors at 200 Hz, both ends", f"{100 * cpu / seconds:.1f} % of a core")
    assert cpu / seconds < 0.5
