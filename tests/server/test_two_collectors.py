"""Two collectors with the same samples: stored once, and the second is told."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import shutil
import sqlite3
import sys
from dataclasses import replace

import numpy as np
import pytest

from sensors import wire
from sensors.recording import Recording
from sensors.recording_writer import DatasetFacts, write_recording
from server.settings import Settings, sqlite_url
from tests.server.test_nothing_is_lost import (
    collecting,
    kill,
    spool_bytes,
    until,
)
from tests.support.numbered_streams import FIRST, WITHIN_S, counted, numbers
from tests.support.running_service import running
from tests.support.wire_line import batch, line_to

SAMPLES = 12_000
FACTS = DatasetFacts("Counted", ("A", "B"), "Samples that carry their number.\n")


@pytest.fixture
def database(tmp_path):
    return tmp_path / "torsolog.db"


@pytest.fixture
async def served(database):
    async with running(Settings(sqlite_url(database), port=0, radio=False)) as service:
        yield service


def stream(stream_id: str) -> wire.Stream:
    return wire.Stream(stream_id=stream_id, segment="pelvis", sensor="P", rate_hz=200.0)


async def in_turn(first, second, batches) -> list[wire.FromService]:
    """Both send a batch each in turn; the answers that are no acknowledgements."""
    answers = []
    for both in batches:
        for line, one in zip((first, second), both, strict=True):
            await line.send(one)
            while not isinstance(answer := await line.answer(), wire.Acknowledge):
                answers.append(answer)
    return answers


async def test_two_collectors_of_a_stream_are_told_once_each_and_taken(database, served):
    async with line_to(served.address) as first, line_to(served.address) as second:
        session = (await first.hello(streams=(stream("p"),))).session
        await second.hello(streams=(stream("p"),), session=session)
        same = [(batch(n, "p"), batch(n, "p")) for n in range(10)]
        said = await in_turn(first, second, same)
    told = wire.Refusal(
        code="sent-twice",
        message="another collector sends the same pelvis samples; each is stored once: "
        "stop one of them",
    )
    assert said == [told, told]
    assert numbers(database, "pelvis") == list(range(200))


async def test_a_sensor_that_two_collectors_read_is_told_too(database, served):
    async with line_to(served.address) as first, line_to(served.address) as second:
        session = (await first.hello(streams=(stream("p"),))).session
        await second.hello(streams=(stream("q"),), session=session)
        said = await in_turn(first, second, [(batch(n, "p"), batch(n, "q")) for n in range(10)])
    assert [one.code for one in said] == ["sent-twice", "sent-twice"]
    assert "another collector sends a pelvis sensor into this session" in said[0].message
    assert len(numbers(database, "pelvis")) == 400


async def test_nobody_is_told_of_a_line_that_ended_or_of_what_is_sent_late(served):
    """A collector that comes again, its old line not noticed yet; and an older stretch of time."""
    async with line_to(served.address) as first, line_to(served.address) as second:
        session = (await first.hello(streams=(stream("p"),))).session
        await first.send_all([batch(n, "p") for n in range(5)])
        await second.hello(streams=(stream("p"),), session=session)
        await second.send_all([batch(n, "p") for n in range(5, 10)])
        async with line_to(served.address) as third:
            await third.hello(streams=(stream("late"),), session=session)
            late = [(batch(n, "p"), batch(n - 10, "late", start_s=-60.0)) for n in range(10, 20)]
            assert await in_turn(second, third, late) == []


def in_thousandths(recorded: Recording) -> Recording:
    """The same with numbers that a recording may hold: a gyro's value has a limit there."""
    sensors = (
        replace(sensor, gyro=sensor.gyro / 1e3) for sensor in (recorded.pelvis, recorded.upper_back)
    )
    return Recording(recorded.name, *sensors, ())


def by_stream(database, segment: str) -> list[list[int]]:
    """Numbers of the samples of each stream of a segment, shortest stream first."""
    query = (
        "SELECT stream_id, gyro FROM batches JOIN streams ON streams.id = stream_id "
        "WHERE segment = ? ORDER BY stream_id, sequence"
    )
    with contextlib.closing(sqlite3.connect(database)) as connection:
        rows = connection.execute(query, [segment]).fetchall()
    found = []
    for _, of_stream in itertools.groupby(rows, key=lambda row: row[0]):
        data = b"".join(gyro for _, gyro in of_stream)
        gyro = np.frombuffer(data, "<f4").reshape(-1, 3)
        found.append(np.rint(1e3 * gyro[:, 0].astype(float)).astype(int).tolist())
    return sorted(found, key=len)


async def test_a_spool_copied_while_it_was_full_and_sent_twice_at_once_is_stored_once(
    tmp_path, database
):
    """Real processes: one is killed with its spool full, and two send the two copies of it."""
    write_recording(tmp_path / "recording", in_thousandths(counted(SAMPLES)), FACTS)
    spools = [tmp_path / "spool", tmp_path / "copy"]
    collect = [*(sys.executable, "-m", "server.cli", "collect", "--source", "replay")]
    collect += ["--recording", str(tmp_path / "recording")]
    nobody = [*collect, "--service", "http://127.0.0.1:9"]
    killed = await collecting([*nobody, "--spool", str(spools[0])], "0")
    await until(lambda: spool_bytes(spools[0]) > 500_000)
    refused = await collecting([*nobody, "--spool", str(spools[0])], "0")
    async with asyncio.timeout(WITHIN_S):
        _, said = await refused.communicate()
    assert refused.returncode != 0
    assert b"another collector is using this folder" in said
    await kill(killed)
    shutil.copytree(*spools)
    async with running(Settings(sqlite_url(database), port=0, radio=False)) as service:
        send = [*collect, "--service", service.address]
        both = [await collecting([*send, "--spool", str(spool)], "0") for spool in spools]
        try:
            async with asyncio.timeout(2 * WITHIN_S):
                said = [(await one.communicate())[1].decode() for one in both]
        finally:
            for one in both:
                await kill(one)
        assert [one.returncode for one in both] == [0, 0], said
        assert all("sent what an earlier run left" in one for one in said)
        sessions = (await service.http.get("/api/sessions")).json()
        assert [session["ended_at"] is not None for session in sessions] == 3 * [True]
    for segment, first in FIRST.items():
        kept, *whole = by_stream(database, segment)
        assert kept == list(range(first, first + len(kept)))
        assert len(kept) > 7000
        assert whole == 2 * [list(range(first, first + SAMPLES))]
