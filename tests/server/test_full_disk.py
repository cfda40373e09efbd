"""A database on a disk that really runs full: it is said, nothing is lost, free space cures it."""

from __future__ import annotations

import asyncio
import itertools
import json

import pytest
from sqlalchemy import event
from websockets.asyncio.client import connect

from analysis.samples import Segment
from sensors import wire
from sensors.collector import Collector
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.spool import MemorySpool
from server import committing
from server.settings import Settings, sqlite_url
from tests.support.numbered_streams import (
    WITHIN_S,
    Told,
    assert_exactly_once,
    counted,
    numbers,
)
from tests.support.running_service import running
from tests.support.small_disk import small_disk
from tests.support.wire_line import batch, line_to

SAMPLES = 8000
FULL = "the disk with the database is full: free some space on it"


@pytest.fixture
def disk(tmp_path):
    with small_disk(tmp_path / "disk", 8 * 1024 * 1024) as mounted:
        yield mounted


@pytest.fixture
async def served(disk):
    database = disk.folder / "torsolog.db"
    async with running(Settings(sqlite_url(database), port=0, radio=False)) as service:
        yield service


async def said_live(live, wanted) -> None:
    """Wait until the live channel says of the store what is wanted, a text or None."""
    async with asyncio.timeout(WITHIN_S):
        async for frame in live:
            message = json.loads(frame)
            if message["type"] == "status" and message["trouble"] == wanted:
                return


async def test_a_full_disk_is_said_and_holds_up_what_comes_until_there_is_room(
    disk, served, caplog, monkeypatch
):
    """The stream runs into a full disk; the page, the log and the collector say it; space comes."""
    monkeypatch.setattr(committing, "SETTLED_S", 0.0)
    recorded, told = counted(SAMPLES), Told()
    port = int(served.address.rstrip("/").rsplit(":", 1)[1])
    disk.fill(leave=400_000)
    run = Collector(
        ReplaySource(recorded, speed=0.0),
        ServiceAddress.of("127.0.0.1", port),
        MemorySpool(),
        news=told,
        delays=lambda: itertools.repeat(0.05),
    )
    collecting = asyncio.create_task(run.run())
    try:
        async with connect(served.live_address, max_size=None) as live:
            await told.says(FULL)
            trouble = f"{FULL}; samples wait in the collector and are sent again"
            await said_live(live, trouble)
            stored = len(numbers(disk.folder / "torsolog.db", "pelvis"))
            assert 0 < stored < SAMPLES
            assert (await served.http.get(f"/api/sessions/{run.session}")).status_code == 200
            disk.free()
            async with asyncio.timeout(WITHIN_S):
                await collecting
    finally:
        collecting.cancel()
        await asyncio.wait({collecting})
    said = [record.message for record in caplog.records if "samples" in record.message]
    assert (said[0], said[-1]) == (trouble, "the store takes samples again")
    assert_exactly_once(disk.folder / "torsolog.db", recorded)
    found = (await served.http.get(f"/api/sessions/{run.session}/troubles")).json()
    assert found == []


async def test_a_session_can_begin_once_the_disk_has_room(disk, served):
    """The very first words of a collector, and of the page, find a full disk."""
    disk.fill()
    refused = await served.http.post("/api/sessions", json={"title": "Range"})
    assert (refused.status_code, refused.json()["detail"]) == (503, FULL)
    async with line_to(served.address) as line:
        with pytest.raises(AssertionError, match=FULL):
            await line.hello()
    disk.free()
    async with line_to(served.address) as line:
        await line.hello()
        await line.send_all([batch(sequence) for sequence in range(3)])
    assert numbers(disk.folder / "torsolog.db", "pelvis") == list(range(60))


async def test_a_database_server_that_has_gone_is_said_and_samples_wait_for_it(postgresql):
    """As PostgreSQL does where its own log finds the disk full: it ends, and is started again."""
    url = postgresql.new_database()
    name = url.removeprefix("postgresql://tests@/").partition("?")[0]
    words = "the database server does not answer: see that it runs and that its disk has room"
    async with (
        running(Settings(url, port=0, radio=False)) as service,
        line_to(service.address) as line,
    ):
        await line.hello()
        await line.send_all([batch(0)])
        postgresql.rename(name, "away")
        for answer in (
            await service.http.get("/api/sessions"),
            await service.http.post("/api/sessions", json={"title": "Range"}),
        ):
            assert (answer.status_code, answer.json()["detail"]) == (503, words)
        with pytest.raises(AssertionError, match=words):
            await line.send_all([batch(1)])
        postgresql.rename("away", name)
        (session,) = (await service.http.get("/api/sessions")).json()
        async with line_to(service.address) as again:
            welcome = await again.hello(session=session["id"])
            assert welcome.resume["pelvis-1"] == 1
            await again.send_all([batch(1)])
            await again.send(wire.Finish())
            await again.socket.wait_closed()
        samples = service.parts.store.raw.samples(session["id"], Segment.PELVIS)
        assert samples.gyro[:, 0].tolist() == list(range(40))


async def test_a_database_that_may_only_be_read_is_said_and_cured(settings):
    """As on a file system that the system has remounted read-only after an error."""
    async with running(settings) as service:
        engine, only = service.parts.store._database.engine, {"query_only": "ON"}

        def set_mode(connection, _record, _proxy):
            connection.execute(f"PRAGMA query_only = {only['query_only']}")

        event.listen(engine, "checkout", set_mode)
        refused = await service.http.post("/api/sessions", json={"title": "Range"})
        assert refused.status_code == 503
        assert "the database cannot be written (attempt to write" in refused.json()["detail"]
        only["query_only"] = "OFF"
        opened = await service.http.post("/api/sessions", json={"title": "Range"})
        assert opened.status_code == 201
