"""A service that dies exactly at a commit: all of it or nothing is there, and the rest comes."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import random
import sqlite3
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from recordings import DEMO_RECORDING
from sensors.collector import Collector
from sensors.recording import read_recording
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.spool import MemorySpool
from server.settings import sqlite_url
from server.store import Store
from tests.server.test_nothing_is_lost import assert_stored, stored_samples

WITHIN_S = 120.0
KILLED = -9


async def started(database: Path, port: int, *death: str) -> tuple[asyncio.subprocess.Process, int]:
    """The service as its own process, and its port once it listens."""
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "tests.support.dying_service", str(database), str(port), *death),
        stdout=asyncio.subprocess.PIPE,
    )
    async with asyncio.timeout(WITHIN_S):
        return process, int(await process.stdout.readline())


async def collect_through(database: Path, deaths: Iterator[tuple[str, int]]) -> tuple[str, int]:
    """Send the demo recording to a service that dies so, one death a start; session and deaths."""
    service, port = await started(database, 0, *map(str, next(deaths)))
    collector = Collector(
        ReplaySource(read_recording(DEMO_RECORDING), speed=0.0),
        ServiceAddress.of("127.0.0.1", port),
        MemorySpool(),
        delays=lambda: itertools.repeat(0.02),
    )
    collecting = asyncio.create_task(collector.run())
    died = 0
    try:
        while not collecting.done():
            ended = asyncio.create_task(service.wait())
            async with asyncio.timeout(WITHIN_S):
                await asyncio.wait({collecting, ended}, return_when=asyncio.FIRST_COMPLETED)
            if ended.done():
                assert ended.result() == KILLED
                died += 1
                service, _ = await started(database, port, *map(str, next(deaths, ())))
            else:
                ended.cancel()
        await collecting
    finally:
        collecting.cancel()
        with contextlib.suppress(ProcessLookupError):
            service.kill()
        await service.wait()
    return collector.session, died


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL, which this system lacks")
@pytest.mark.parametrize("point", ["before_commit", "after_commit", "after_end"])
async def test_a_service_that_dies_at_commits_of_every_kind_has_all_exactly_once(tmp_path, point):
    database = tmp_path / "torsolog.db"
    rng = random.Random(point)
    more = [2, 3, rng.randrange(4, 20)] if point != "after_end" else []
    deaths = [1, *more]
    session, died = await collect_through(database, iter([(point, nth) for nth in deaths]))
    assert died == len(deaths)
    recorded = read_recording(DEMO_RECORDING)
    store = Store(sqlite_url(database))
    try:
        total = assert_stored(store, session, recorded)
        assert len(store.sessions.marks(session)) == 2
        assert [one.open for one in store.sessions.all()] == [False]
        swings = [record.swing.number for record in store.swings.of_session(session)]
        assert sorted(swings) == list(range(1, len(swings) + 1))
        assert swings
    finally:
        store.close()
    assert stored_samples(database) == total == 2 * len(recorded.pelvis.time_s)
    with contextlib.closing(sqlite3.connect(database)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT COUNT(*) FROM streams").fetchone() == (2,)
