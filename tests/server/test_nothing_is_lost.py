"""The real service and the real collector, killed at random moments: every sample exactly once."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import random
import re
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

from analysis.samples import Segment
from recordings import DEMO_RECORDING
from sensors.collector import Collector
from sensors.recording import read_recording
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.spool import MemorySpool
from server.settings import Settings, sqlite_url
from server.store import Store
from tests.support.running_service import running

WITHIN_S = 120.0


class WatchedSpool(MemorySpool):
    """Says when the service has taken frames."""

    def __init__(self) -> None:
        super().__init__()
        self.released = asyncio.Event()

    def release(self, before: int) -> None:
        super().release(before)
        self.released.set()

    async def until(self, number: int) -> None:
        """Wait until every frame below `number` is acknowledged."""
        async with asyncio.timeout(WITHIN_S):
            while self.first < number:
                self.released.clear()
                await self.released.wait()


async def served(database: Path, port: int) -> tuple[asyncio.subprocess.Process, int]:
    """`torsolog serve` as its own process, and its port, once it listens."""
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "server.cli", "serve", "--no-browser"),
        *("--port", str(port), "--database", str(database)),
        stderr=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.DEVNULL,
    )
    async with asyncio.timeout(WITHIN_S):
        said = (await process.stderr.readline()).decode()
    found = re.search(r"http://127\.0\.0\.1:(\d+)/", said)
    assert found, said
    return process, int(found.group(1))


async def kill(process: asyncio.subprocess.Process) -> None:
    with contextlib.suppress(ProcessLookupError):
        process.kill()
    await process.communicate()


def assert_stored(store: Store, session: str, recorded, *, whole: bool = True) -> int:
    """Each sensor's samples in the store are those recorded, from the first on; their number."""
    total = 0
    for segment, sensor in (
        (Segment.PELVIS, recorded.pelvis),
        (Segment.UPPER_BACK, recorded.upper_back),
    ):
        table = store.raw.samples(session, segment)
        count = len(sensor.time_s) if whole else len(table)
        assert table.time_s.tobytes() == sensor.time_s[:count].tobytes()
        assert table.gyro.tobytes() == sensor.gyro[:count].tobytes()
        assert table.accel.tobytes() == sensor.accel[:count].tobytes()
        total += count
    return total


def stored_samples(database: Path) -> int:
    """Samples in all batches, counted by SQL alone: doubles would be counted twice."""
    with contextlib.closing(sqlite3.connect(database)) as connection:
        return connection.execute("SELECT COALESCE(SUM(samples), 0) FROM batches").fetchone()[0]


async def test_a_service_killed_again_and_again_has_every_sample_once(tmp_path):
    """SIGKILL at three random moments, the database on disk, the collector running on."""
    recorded = read_recording(DEMO_RECORDING)
    database = tmp_path / "torsolog.db"
    rng = random.Random(7)
    process, port = await served(database, 0)
    spool = WatchedSpool()
    collector = Collector(
        ReplaySource(recorded, speed=0.0),
        ServiceAddress.of("127.0.0.1", port),
        spool,
        delays=lambda: itertools.repeat(0.05),
    )
    collecting = asyncio.create_task(collector.run())
    try:
        for frames in sorted(rng.sample(range(10, 900), 3)):
            await spool.until(frames)
            await kill(process)
            process, _ = await served(database, port)
        async with asyncio.timeout(WITHIN_S):
            await collecting
    finally:
        await kill(process)
    store = Store(sqlite_url(database))
    try:
        total = assert_stored(store, collector.session, recorded)
        assert len(store.sessions.marks(collector.session)) == 2
        assert [session.open for session in store.sessions.all()] == [False]
    finally:
        store.close()
    assert stored_samples(database) == total == 2 * len(recorded.pelvis.time_s)


async def test_a_collector_killed_while_it_sends_leaves_its_rest_to_the_next(tmp_path):
    """SIGKILL of the collector's process; the next one sends what the spool holds, then its own."""
    recorded = read_recording(DEMO_RECORDING)
    database = tmp_path / "torsolog.db"
    settings = Settings(sqlite_url(database), "127.0.0.1", 0)
    async with running(settings) as service:
        command = [
            *(sys.executable, "-m", "server.cli", "collect", "--source", "replay"),
            *("--recording", str(DEMO_RECORDING), "--service", service.address),
            *("--spool", str(tmp_path / "spool")),
        ]
        killed = await collecting(command, "20")
        at_least = random.Random(2).randrange(500, 8000)
        async with asyncio.timeout(WITHIN_S):
            while (before := stored_samples(database)) < at_least:  # noqa: ASYNC110 - other process
                await asyncio.sleep(0.02)
        await kill(killed)
        again = await collecting(command, "0")
        async with asyncio.timeout(WITHIN_S):
            _, said = await again.communicate()
        assert again.returncode == 0, said.decode()
        assert b"sent what an earlier run left" in said
        store = service.parts.store
        second, first = store.sessions.all()
        assert not first.open
        assert assert_stored(store, first.id, recorded, whole=False) >= before
        assert assert_stored(store, second.id, recorded) == 2 * len(recorded.pelvis.time_s)
    assert list((tmp_path / "spool").iterdir()) == []


async def test_service_and_collector_both_killed_leave_nothing_out(tmp_path):
    """SIGKILL of the service, then of the collector that spools meanwhile; both come again."""
    recorded = read_recording(DEMO_RECORDING)
    database, spool = tmp_path / "torsolog.db", tmp_path / "spool"
    service, port = await served(database, 0)
    command = [
        *(sys.executable, "-m", "server.cli", "collect", "--source", "replay"),
        *("--recording", str(DEMO_RECORDING), "--service", f"http://127.0.0.1:{port}"),
        *("--spool", str(spool)),
    ]
    try:
        collector = await collecting(command, "20")
        await until(lambda: stored_samples(database) > 3000)
        await kill(service)
        before, spooled = stored_samples(database), spool_bytes(spool)
        await until(lambda: spool_bytes(spool) > spooled + 50_000)
        await kill(collector)
        service, _ = await served(database, port)
        again = await collecting(command, "0")
        async with asyncio.timeout(WITHIN_S):
            _, said = await again.communicate()
        assert again.returncode == 0, said.decode()
    finally:
        await kill(service)
    store = Store(sqlite_url(database))
    try:
        second, first = store.sessions.all()
        kept = assert_stored(store, first.id, recorded, whole=False)
        assert kept > before + 1000  # 50 kB of spool hold some 1500 samples
        assert assert_stored(store, second.id, recorded) == 2 * len(recorded.pelvis.time_s)
    finally:
        store.close()
    assert stored_samples(database) == kept + 2 * len(recorded.pelvis.time_s)
    assert list(spool.iterdir()) == []


def spool_bytes(folder: Path) -> int:
    """Bytes of all frames below a spool folder."""
    return sum(path.stat().st_size for path in folder.glob("*/*.frames"))


async def until(condition: Callable[[], bool]) -> None:
    """Wait for what another process does to its files."""
    async with asyncio.timeout(WITHIN_S):
        while not condition():  # noqa: ASYNC110 - other process
            await asyncio.sleep(0.02)


async def collecting(command: list[str], speed: str) -> asyncio.subprocess.Process:
    """`torsolog collect` as its own process."""
    return await asyncio.create_subprocess_exec(
        *command,
        *("--speed", speed),
        stderr=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.DEVNULL,
    )
