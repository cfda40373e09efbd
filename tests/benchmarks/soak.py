"""Minutes of two sensors through collector, service and page: what it costs, and that it is flat.

    python -m tests.benchmarks.soak [MINUTES] [SPEED]

MINUTES of wall time (3), SPEED times real time (10), 2 sensors at 200 Hz. The collector runs in
this process and the service in its own. Every 10 s it prints the service's RSS, open files, the
size of the database's log and the processor shares; at the end what was lost or stored twice
(counted by SQL) and how long a batch took to be acknowledged and to show on the live channel.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from websockets.asyncio.client import connect

from sensors.collector import Collector
from sensors.disk_spool import DiskSpool
from sensors.recording import Recording, SensorRecording
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.write_behind import WriteBehindSpool
from tests.server.test_nothing_is_lost import kill, served

RATE_HZ = 200.0
EVERY_S = 10.0


class TimedSpool(WriteBehindSpool):
    """Notes how long each frame waited from its making to its acknowledgement, s."""

    def __init__(self, disk: DiskSpool) -> None:
        super().__init__(disk)
        self.made: dict[int, float] = {}
        self.waits: list[float] = []

    def append(self, frame: bytes) -> None:
        self.made[self.end] = time.perf_counter()
        super().append(frame)

    def release(self, before: int) -> None:
        for number in range(self.first, before):
            made = self.made.pop(number, None)
            if made is not None:
                self.waits.append(time.perf_counter() - made)
        super().release(before)


def counted(samples: int) -> Recording:
    sensors = []
    for segment in ("pelvis", "upper_back"):
        gyro = np.zeros((samples, 3))
        gyro[:, 0] = np.arange(samples) % 1000 / 1000.0
        gyro[:, 1] = np.arange(samples) // 1000 / 1000.0
        accel = np.tile([0.0, 0.0, 9.81], (samples, 1))
        sensors.append(SensorRecording(segment, np.arange(samples) / RATE_HZ, gyro, accel, RATE_HZ))
    return Recording("sub-01_task-swing", *sensors, ())


async def follow(port: int, source: ReplaySource, late: list[float]) -> None:
    """How far the page's newest trace sample is behind the source, s of wall time."""
    async with connect(f"ws://127.0.0.1:{port}/api/live", max_size=None) as socket:
        async for frame in socket:
            message = json.loads(frame)
            if message["type"] == "trace" and message["time_s"]:
                late.append((source.now_s() - message["time_s"][-1]) / SPEED)


class Watched:
    """What the system says of a process; Linux only."""

    def __init__(self, pid: int) -> None:
        self._folder = Path(f"/proc/{pid}")

    def rss_mb(self) -> float:
        pages = int((self._folder / "statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6

    def files(self) -> int:
        return len(list((self._folder / "fd").iterdir()))

    def cpu_s(self) -> float:
        fields = (self._folder / "stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


async def watch(service: Watched, log: Path) -> None:
    """Print a line every EVERY_S until cancelled."""
    own = Watched(os.getpid())
    while True:
        begun, service_s, own_s = time.perf_counter(), service.cpu_s(), own.cpu_s()
        await asyncio.sleep(EVERY_S)
        percent = 100.0 / (time.perf_counter() - begun)
        print(
            f"service {service.rss_mb():6.1f} MB, {service.files():3d} files, "
            f"log {size_mb(log):5.2f} MB, cpu {(service.cpu_s() - service_s) * percent:5.1f} %; "
            f"collector {own.rss_mb():6.1f} MB, {own.files():3d} files, "
            f"cpu {(own.cpu_s() - own_s) * percent:5.1f} %",
            flush=True,
        )


def size_mb(file: Path) -> float:
    return file.stat().st_size / 1e6 if file.exists() else 0.0


def stored(database: Path) -> dict[str, tuple[int, bool]]:
    """For each segment how many samples are stored, and whether they are each once and in order."""
    result = {}
    query = (
        "SELECT gyro FROM batches JOIN streams ON streams.id = stream_id "
        "WHERE segment = ? ORDER BY batches.id"
    )
    with contextlib.closing(sqlite3.connect(database)) as connection:
        for segment in ("pelvis", "upper_back"):
            data = b"".join(row[0] for row in connection.execute(query, [segment]))
            gyro = np.frombuffer(data, "<f4").reshape(-1, 3)
            number = np.rint(gyro[:, 1] * 1e3) * 1000 + np.rint(gyro[:, 0] * 1e3)
            result[segment] = (len(number), bool(np.all(number == np.arange(len(number)))))
    return result


async def main(minutes: float) -> None:
    samples = int(minutes * 60.0 * SPEED * RATE_HZ)
    recorded = counted(samples)
    late: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "soak.db"
        process, port = await served(database, 0)
        spool = TimedSpool(DiskSpool(Path(folder) / "spool", overflow_bytes=0))
        source = ReplaySource(recorded, speed=SPEED, can_wait=False)
        begun = time.perf_counter()
        tasks = [
            asyncio.create_task(follow(port, source, late)),
            asyncio.create_task(watch(Watched(process.pid), Path(f"{database}-wal"))),
        ]
        try:
            await Collector(source, ServiceAddress.of("127.0.0.1", port), spool).run()
            wall_s = time.perf_counter() - begun
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await kill(process)
        kept = stored(database)
    report(kept, samples, wall_s, spool.waits, late)


def report(kept, samples: int, wall_s: float, waits: list[float], late: list[float]) -> None:
    for segment, (count, in_order) in kept.items():
        print(f"{segment}: {count} stored, {samples - count} lost, each once: {in_order}")
    print(f"{len(waits) / wall_s:.0f} batches/s, {2 * samples / wall_s:.0f} samples/s")
    for name, values in (("batch to acknowledged", waits), ("source to page", late)):
        if values:
            p50, p95, top = np.percentile(values, [50, 95, 100]) * 1e3
            print(f"{name}: median {p50:.0f} ms, 95 % {p95:.0f} ms, most {top:.0f} ms")
    if any(count != samples or not in_order for count, in_order in kept.values()):
        sys.exit("samples were lost, doubled or out of order")


SPEED = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0

if __name__ == "__main__":
    os.nice(5)
    asyncio.run(main(float(sys.argv[1]) if len(sys.argv) > 1 else 3.0))
