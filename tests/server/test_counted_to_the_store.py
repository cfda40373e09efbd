"""Samples that carry their number, through cuts, kills, full and slow disks: read off by SQL."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import sqlite3
import threading

import numpy as np
import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from sensors.clock import SourceClock
from sensors.collector import Collector, Destination
from sensors.disk_spool import DiskSpool
from sensors.replay import ReplaySource, stream_of
from sensors.service_link import ServiceAddress
from sensors.source import SamplePacket, StreamStarted
from sensors.spool import MemorySpool
from sensors.write_behind import WriteBehindSpool
from server.settings import Settings, sqlite_url
from tests.support.cut_line import cut_line
from tests.support.numbered_streams import WITHIN_S, Told, assert_exactly_once, counted, numbers
from tests.support.running_service import running
from tests.support.wire_line import batch, line_to

SAMPLES = 4000


def collector(recorded, port, spool=None, **options) -> Collector:
    return Collector(
        ReplaySource(recorded, speed=0.0),
        ServiceAddress.of("127.0.0.1", port),
        spool or MemorySpool(),
        delays=lambda: itertools.repeat(0.01),
        **options,
    )


@pytest.fixture
def database(tmp_path):
    return tmp_path / "torsolog.db"


@pytest.fixture
async def served(database):
    async with running(Settings(sqlite_url(database), port=0)) as service:
        yield service


def port_of(service) -> int:
    return int(service.address.rstrip("/").rsplit(":", 1)[1])


async def test_a_line_cut_in_the_middle_of_frames_loses_and_doubles_nothing(database, served):
    recorded = counted(SAMPLES)
    cuts = [900, 1501, 7001, 20_003, 33_331, 50_021]
    async with cut_line(port_of(served), cuts) as line:
        async with asyncio.timeout(WITHIN_S):
            await collector(recorded, line.port).run()
        assert line.cuts == len(cuts)
    assert_exactly_once(database, recorded)


async def test_what_the_radio_lost_is_marked_and_nothing_else(database, served):
    recorded = counted(SAMPLES, gap=slice(1000, 1500))
    async with cut_line(port_of(served), [9001, 20_001]) as line:
        run = collector(recorded, line.port)
        async with asyncio.timeout(WITHIN_S):
            await run.run()
    assert_exactly_once(database, recorded)
    found = (await served.http.get(f"/api/sessions/{run.session}/troubles")).json()
    assert sorted((one["segment"], one["kind"], one["lost"]) for one in found) == [
        ("pelvis", "silent", 500),
        ("upper_back", "silent", 500),
    ]
    assert {(one["start_s"], one["end_s"]) for one in found} == {(999 / 200.0, 7.5)}


async def test_two_lines_with_the_same_stream_store_it_once(database, served):
    """Two collectors of one stream, a batch of each in turn, one of them behind the other."""
    async with line_to(served.address) as first, line_to(served.address) as second:
        session = (await first.hello()).session
        assert (await second.hello(session=session)).session == session
        both = [
            line.send_all([batch(sequence) for sequence in range(100)]) for line in (first, second)
        ]
        results = await asyncio.gather(*both, return_exceptions=True)
        assert not [one for one in results if not (one is None or isinstance(one, AssertionError))]
        await first.send_all([batch(sequence) for sequence in range(100)])
    assert numbers(database, "pelvis") == list(range(2000))


@pytest.mark.parametrize("nth", range(1, 6))
async def test_a_commit_that_fails_once_is_sent_again(database, served, nth, monkeypatch):
    """Acknowledged is what was committed; the rest comes once more."""
    recorded = counted(SAMPLES)
    failing = FailingCommits(served, lambda write: write == nth)
    monkeypatch.setattr(served.parts.commits, "_append", failing)
    async with asyncio.timeout(WITHIN_S):
        await collector(recorded, port_of(served)).run()
    assert_exactly_once(database, recorded)
    assert failing.failed == 1


class FailingCommits:
    """The store's append; chosen calls fail as on a full disk, before anything is kept."""

    def __init__(self, service, fails) -> None:
        self._append = service.parts.store.raw.append
        self._fails = fails
        self.calls = self.failed = 0
        self.first_failure = threading.Event()

    def __call__(self, batches):
        self.calls += 1
        if self._fails(self.calls):
            self.failed += 1
            self.first_failure.set()
            raise OperationalError("INSERT", {}, Exception("database or disk is full"))
        return self._append(batches)


async def test_a_database_that_is_full_until_space_is_freed_loses_nothing(database, served):
    """SQLite's own limit on the file's pages makes it full; it is lifted after a refusal."""
    recorded = counted(SAMPLES)
    engine = served.parts.store._database.engine
    told = Told()
    limit = {"pages": 70}

    def limited(connection, _record, _proxy):
        connection.execute(f"PRAGMA max_page_count = {limit['pages']}")

    event.listen(engine, "checkout", limited)
    run = collector(recorded, port_of(served), news=told)
    collecting = asyncio.create_task(run.run())
    try:
        async with asyncio.timeout(WITHIN_S):
            await told.says("the disk with the database is full")
            before = len(numbers(database, "pelvis"))
            assert before < SAMPLES
            limit["pages"] = 2**30
            await collecting
    finally:
        collecting.cancel()
        await asyncio.wait({collecting})
    assert_exactly_once(database, recorded)


class SlowDisk(DiskSpool):
    """Each write waits until it is let through; `waits` is set when one does."""

    def __init__(self, folder) -> None:
        super().__init__(folder, overflow_bytes=0)
        self.gate = threading.Event()

    def append(self, frame):
        self.gate.wait(WITHIN_S)
        super().append(frame)


async def test_a_disk_that_writes_nothing_holds_up_no_sample(database, served, tmp_path):
    """The whole recording reaches the service while not one write of the spool has ended."""
    recorded = counted(SAMPLES)
    disk = SlowDisk(tmp_path / "run")
    spool = WriteBehindSpool(disk)
    run = asyncio.create_task(
        collector(recorded, port_of(served), spool, destination=Destination(title="Slow")).run()
    )
    try:
        async with asyncio.timeout(WITHIN_S):
            while len(numbers(database, "upper_back")) < SAMPLES:  # noqa: ASYNC110 - the file says it
                await asyncio.sleep(0.05)
        assert disk.end == 0
    finally:
        disk.gate.set()
        await run
    assert_exactly_once(database, recorded)
    assert not (tmp_path / "run").exists()


class RestartingSource(ReplaySource):
    """The pelvis sensor restarts every 100 samples: each time it is a stream of its own."""

    async def events(self):
        sensor = self.recording.pelvis
        for first in range(0, len(sensor.time_s), 100):
            rows = slice(first, first + 100)
            stream = stream_of(sensor)
            yield StreamStarted(stream, SourceClock())
            yield SamplePacket(
                stream_id=stream.stream_id,
                ticks=np.arange(100),
                gyro=sensor.gyro[rows],
                accel=sensor.accel[rows],
                received_s=float(sensor.time_s[rows][-1]),
                lost_before=0,
                time_s=sensor.time_s[rows],
            )
        self.given.set()
        await asyncio.Event().wait()


async def test_a_sensor_that_restarts_forty_times_in_one_outage_is_stored_whole(tmp_path, database):
    """Nobody listens on the port until all of it waits in the spool."""
    recorded, stop = counted(SAMPLES), asyncio.Event()
    source = RestartingSource(recorded, speed=0.0, can_wait=False)
    source.given = asyncio.Event()
    settings = Settings(sqlite_url(database), port=0)
    async with running(settings) as service, cut_line(port_of(service), [0] * 5) as line:
        run = asyncio.create_task(
            Collector(
                source,
                ServiceAddress.of("127.0.0.1", line.port),
                WriteBehindSpool(DiskSpool(tmp_path / "run", overflow_bytes=0)),
                delays=lambda: itertools.repeat(0.01),
            ).run(stop)
        )
        async with asyncio.timeout(WITHIN_S):
            await source.given.wait()
            stop.set()
            await run
    with contextlib.closing(sqlite3.connect(database)) as connection:
        rows = connection.execute("SELECT gyro FROM batches ORDER BY id").fetchall()
        streams = connection.execute("SELECT COUNT(*) FROM streams").fetchone()[0]
    stored = np.frombuffer(b"".join(row[0] for row in rows), "<f4").reshape(-1, 3)[:, 0]
    assert stored.astype(int).tolist() == list(range(SAMPLES))
    assert streams == SAMPLES // 100
