"""A spool on a disk that really runs full: nothing kept is lost, and what is left out is marked."""

from __future__ import annotations

import asyncio
import itertools

import numpy as np
import pytest

from sensors.collector import Collector
from sensors.disk_spool import DiskSpool
from sensors.errors import SpoolError
from sensors.replay import ReplaySource
from sensors.spool import ROOM_BYTES, MemorySpool
from sensors.wire import Hello, Stream
from sensors.write_behind import WriteBehindSpool
from tests.support.ingest_server import ingest_server
from tests.support.numbered_streams import FIRST, WITHIN_S, Told, counted
from tests.support.small_disk import small_disk

HELLO = Hello(version=1, streams=(), session="s1")


@pytest.fixture
def disk(tmp_path):
    with small_disk(tmp_path / "disk", 256 * 1024) as mounted:
        yield mounted


def frame(number: int) -> bytes:
    return b"%06d" % number * 150


def kept(folder) -> list[bytes]:
    """What stands on the disk, as the next process finds it."""
    spool = DiskSpool(folder)
    frames = [spool.read(n) for n in range(spool.first, spool.end)]
    spool.close(done=False)
    return frames


def overfilled(disk, *, behind):
    """A run's folder and its spool, given 200 frames on a disk that has room for fewer."""
    run = disk.folder / "run"
    spool = WriteBehindSpool(DiskSpool(run, overflow_bytes=0)) if behind else DiskSpool(run)
    spool.keep_hello(HELLO)
    disk.fill(leave=40_000)
    for number in range(200):
        spool.append(frame(number))
    return run, spool


@pytest.mark.parametrize("behind", [False, True])
def test_what_a_full_disk_refuses_waits_in_memory_and_follows_in_order(disk, behind):
    run, spool = overfilled(disk, behind=behind)
    assert [spool.read(n) for n in range(200)] == [frame(n) for n in range(200)]
    if not behind:
        assert spool.trouble == f"{run} (No space left on device)"
    disk.free()
    spool.append(frame(200))
    assert spool.close(done=False) == 0
    assert kept(run) == [frame(n) for n in range(201)]


@pytest.mark.parametrize("behind", [False, True])
def test_what_a_disk_full_to_the_last_would_not_take_is_counted(disk, behind):
    run, spool = overfilled(disk, behind=behind)
    lost = spool.close(done=False)
    assert 0 < lost < 200
    assert kept(run) == [frame(n) for n in range(200 - lost)]


def test_a_stream_that_began_on_a_full_disk_is_named_there_before_its_frames(disk):
    """Frames whose stream nobody knows could never be sent."""
    run = disk.folder / "run"
    spool = DiskSpool(run)
    spool.keep_hello(HELLO)
    disk.fill()
    streams = tuple(
        Stream(stream_id=f"stream {number}", segment="pelvis", sensor="S" * 60, rate_hz=200.0)
        for number in range(60)
    )
    named = Hello(version=1, streams=streams, session="s1")
    spool.keep_hello(named)
    assert spool.trouble == f"{run} (No space left on device)"
    spool.append(b"of stream 59")
    assert spool.overflowing
    disk.free()
    spool.append(b"another")
    assert spool.trouble is None
    spool.close(done=False)
    again = DiskSpool(run)
    assert again.hello == named
    assert [again.read(n) for n in range(2)] == [b"of stream 59", b"another"]
    again.close(done=True)


def test_a_run_does_not_begin_on_a_disk_that_is_full(disk):
    spool = DiskSpool(disk.folder / "run")
    disk.fill()
    with pytest.raises(SpoolError, match="No space left on device"):
        spool.keep_hello(HELLO)
    assert spool.hello is None
    spool.close(done=True)


def collector(recorded, server, spool, news) -> Collector:
    source = ReplaySource(recorded, speed=0.0, can_wait=False)
    return Collector(
        source, server.address, spool, news=news, delays=lambda: itertools.repeat(0.01)
    )


async def test_a_collector_says_that_its_disk_is_full_and_that_it_is_not_any_more(disk):
    recorded, told = counted(6000), Told()
    async with ingest_server() as server:
        await server.stop()
        spool = WriteBehindSpool(DiskSpool(disk.folder / "run", overflow_bytes=0))
        disk.fill(leave=100_000)
        run = asyncio.create_task(collector(recorded, server, spool, told).run())
        await told.says("samples cannot be written to")
        assert "No space left on device" in " ".join(told)
        disk.free()
        await server.start()
        async with asyncio.timeout(WITHIN_S):
            await run
        for segment, first in FIRST.items():
            _, gyro, _ = server.stream(segment).samples()
            assert gyro[:, 0].astype(int).tolist() == list(range(first, first + 6000))


async def test_samples_that_found_no_room_stand_as_lost_and_those_kept_are_all_there():
    """The service is away until memory is full; then it comes, and the sensors go on."""
    recorded, told = counted(24_000), Told()
    spool = MemorySpool(max_bytes=5 * ROOM_BYTES)
    async with ingest_server() as server:
        await server.stop()
        source = PausingSource(recorded, speed=0.0, can_wait=False)
        source.pause = asyncio.Event()
        run = Collector(
            source, server.address, spool, news=told, delays=lambda: itertools.repeat(0.01)
        )
        running = asyncio.create_task(run.run())
        await told.says("samples are LOST from now on")
        await server.start()
        await server.until(lambda: spool.kept_bytes == 0)
        source.pause.set()
        async with asyncio.timeout(WITHIN_S):
            await running
        assert spool.kept_bytes == 0
        assert "the spool has room again: samples are kept from now on" in told
        for segment in ("pelvis", "upper_back"):
            stream = server.stream(segment)
            _, gyro, _ = stream.samples()
            numbers = gyro[:, 0].astype(int)
            steps = np.diff(numbers)
            assert (steps > 0).all()
            holes = steps[steps > 1] - 1
            assert len(holes) > 0
            assert [batch.lost_before for batch in stream.batches if batch.lost_before] == [*holes]
            assert len(numbers) + holes.sum() == 24_000


class PausingSource(ReplaySource):
    """Stops after 3000 packets until `pause` is set."""

    pause: asyncio.Event

    async def events(self):
        count = 0
        async for event in super().events():
            count += 1
            if count == 3000:
                await self.pause.wait()
            yield event
