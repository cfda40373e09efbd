"""A collector and a service on real sockets: every sample exactly once, whatever the line does."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import random
from dataclasses import replace

import numpy as np
import pytest

from sensors import wire
from sensors.collector import Collector, Destination, send_unfinished
from sensors.disk_spool import DiskSpool, unfinished_runs
from sensors.errors import SourceError, UplinkError
from sensors.recording import Recording, SensorRecording
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.spool import MemorySpool
from sensors.wire import Mark
from tests.support.ingest_server import IngestServer, ingest_server


def at_once():
    """Waits between tries that only let others have their turn."""
    return itertools.repeat(0.001)


def counting(segment: wire.SegmentName, count: int, first: int) -> SensorRecording:
    """The first gyro axis counts the samples, so loss and order are read off the data."""
    gyro = np.zeros((count, 3))
    gyro[:, 0] = first + np.arange(count)
    return SensorRecording(segment, np.arange(count) / 200.0, gyro, np.ones((count, 3)), 200.0)


def recording(count: int = 4000) -> Recording:
    return Recording(
        "sub-01_task-swing",
        counting("pelvis", count, 0),
        counting("upper_back", count - 100, 100_000),
        (Mark(kind="stand", start_s=1.0, end_s=2.0), Mark(kind="bow", start_s=3.0, end_s=4.0)),
    )


def assert_all_there(server: IngestServer, recorded: Recording) -> None:
    for sensor in (recorded.pelvis, recorded.upper_back):
        time_s, gyro, accel = server.stream(sensor.segment).samples()
        assert gyro[:, 0].tolist() == sensor.gyro[:, 0].tolist()
        assert time_s.tobytes() == sensor.time_s.tobytes()
        assert accel.tobytes() == sensor.accel.tobytes()
    assert server.marks == list(recorded.marks)


def collector(recorded: Recording, server: IngestServer, spool=None, **options) -> Collector:
    source = ReplaySource(recorded, speed=options.pop("speed", 0.0))
    return Collector(source, server.address, spool or MemorySpool(), delays=at_once, **options)


async def test_a_recording_arrives_to_the_bit_and_the_session_ends():
    recorded = recording()
    async with ingest_server() as server:
        run = collector(recorded, server, destination=Destination(golfer="g1", title="Tuesday"))
        await run.run()
        assert_all_there(server, recorded)
        assert server.finished.is_set()
        assert run.session == "session-1"
        assert (server.hellos[0].golfer, server.hellos[0].title) == ("g1", "Tuesday")
        assert server.received_batches == sum(len(s.batches) for s in server.streams.values())


async def test_batches_span_at_most_a_quarter_of_a_second_and_count_without_holes():
    async with ingest_server() as server:
        await collector(recording(), server, batch_span_s=0.25).run()
        for stored in server.streams.values():
            assert [batch.sequence for batch in stored.batches] == list(range(len(stored.batches)))
            spans = [np.ptp(wire.batch_arrays(batch)[0]) for batch in stored.batches]
            assert max(spans) <= 0.25


@pytest.mark.parametrize("seed", range(6))
async def test_a_line_that_breaks_at_random_loses_and_doubles_nothing(seed, tmp_path):
    recorded = recording()
    rng = random.Random(seed)
    spool = DiskSpool(tmp_path / "run") if seed % 2 else MemorySpool()
    async with ingest_server() as server:
        server.breaks = lambda _count: rng.random() < 0.03
        await collector(recorded, server, spool).run()
        assert len(server.hellos) > 3
        assert {hello.session for hello in server.hellos[1:]} <= {None, "session-1"}
        assert_all_there(server, recorded)
    assert not (tmp_path / "run").exists()


async def test_a_service_that_comes_late_gets_everything():
    recorded = recording(1000)
    async with ingest_server() as server:
        await server.stop()
        run = asyncio.create_task(collector(recorded, server).run())
        await asyncio.sleep(0.05)
        assert not run.done()
        await server.start()
        await run
        assert_all_there(server, recorded)


async def test_a_service_that_restarts_in_the_middle_gets_everything():
    recorded = recording()
    async with ingest_server() as server:
        server.delay_s = 0.001
        run = asyncio.create_task(collector(recorded, server).run())
        for _ in range(3):
            server.stored.clear()
            await server.stored.wait()
            await server.stop()
            await server.start()
        server.delay_s = 0.0
        await run
        assert_all_there(server, recorded)
        assert len(server.hellos) >= 3


async def test_what_was_stored_but_not_acknowledged_is_not_stored_twice():
    recorded = recording(600)
    async with ingest_server() as server:
        with server.silent():
            run = asyncio.create_task(collector(recorded, server).run())
            await server.until(lambda: server.received_batches >= 40)
            await server.stop()
        await server.start()
        await run
        assert_all_there(server, recorded)


async def test_a_collector_that_is_cancelled_leaves_its_rest_on_disk_for_the_next(tmp_path):
    recorded = recording()
    async with ingest_server() as server:
        with server.silent():
            spool = DiskSpool(tmp_path / "run", file_bytes=20_000)
            run = asyncio.create_task(collector(recorded, server, spool).run())
            await server.stored.wait()
            run.cancel()
            with pytest.raises(asyncio.CancelledError):
                await run
        assert not server.finished.is_set()
        (left,) = unfinished_runs(tmp_path)
        assert await send_unfinished(left, server.address) == "session-1"
        assert server.finished.is_set()
        assert unfinished_runs(tmp_path) == []
        for stored in server.streams.values():
            counts = stored.samples()[1][:, 0]
            assert (np.diff(counts) == 1.0).all()


async def test_stopping_ends_the_session_with_what_was_taken_so_far():
    recorded = recording()
    async with ingest_server() as server:
        stop = asyncio.Event()
        run = asyncio.create_task(collector(recorded, server, speed=1.0).run(stop))
        await server.stored.wait()
        stop.set()
        await run
        assert server.finished.is_set()
        count = len(server.stream("pelvis").samples()[0])
        assert 0 < count < 4000


async def test_a_refusal_for_good_ends_the_run_and_keeps_the_data(tmp_path):
    async with ingest_server() as server:
        server.refusal = wire.Refusal(code="version", message="too old", fatal=True)
        with pytest.raises(UplinkError, match="the service refuses: too old") as caught:
            await collector(recording(), server, DiskSpool(tmp_path / "run")).run()
        assert caught.value.code == "version"
        assert unfinished_runs(tmp_path) == [tmp_path / "run"]
        server.refusal = None
        await send_unfinished(tmp_path / "run", server.address)
        assert len(server.stream("pelvis").samples()[0]) > 0


async def test_a_store_that_cannot_commit_is_tried_again():
    recorded = recording(600)
    async with ingest_server() as server:
        server.refusal = wire.Refusal(code="store", message="the disk is full", fatal=True)
        sentences = []
        run = asyncio.create_task(collector(recorded, server, news=sentences.append).run())
        await server.until(lambda: len(server.hellos) >= 3)
        server.refusal = None
        await run
        assert_all_there(server, recorded)
        assert any("the disk is full" in sentence for sentence in sentences)


@pytest.mark.parametrize("status", [401, 403, 404])
async def test_a_service_that_will_not_let_it_in_is_said_at_once(status, tmp_path):
    async with ingest_server() as server:
        server.http_status = status
        with pytest.raises(UplinkError, match=f"HTTP {status}"):
            await collector(recording(300), server, DiskSpool(tmp_path / "run")).run()
        assert unfinished_runs(tmp_path) == [tmp_path / "run"]


async def test_a_service_that_is_busy_is_tried_again():
    recorded = recording(300)
    async with ingest_server() as server:
        server.http_status = 503
        sentences = []

        def news(sentence: str) -> None:
            sentences.append(sentence)
            server.http_status = None

        await collector(recorded, server, news=news).run()
        assert_all_there(server, recorded)
        assert "HTTP 503" in sentences[0]
        assert "samples are kept and sent later" in sentences[0]


async def test_the_token_goes_with_the_connection():
    async with ingest_server() as server:
        address = ServiceAddress(server.address.url, token="secret")
        source = ReplaySource(recording(300), speed=0.0)
        await Collector(source, address, MemorySpool()).run()
        assert server.authorizations == ["Bearer secret"]


def test_an_address_is_made_of_host_and_port():
    assert ServiceAddress.of("range.local", 8765).url == "ws://range.local:8765/api/ingest"
    assert ServiceAddress.of("::1", 80).url == "ws://[::1]:80/api/ingest"


@pytest.mark.parametrize("url", ["http://127.0.0.1:1/api/ingest", "nonsense"])
async def test_an_address_that_cannot_be_is_said_at_once(url):
    source = ReplaySource(recording(300), speed=0.0)
    with pytest.raises(UplinkError, match=r"isn't a valid URI|scheme"):
        await Collector(source, ServiceAddress(url), MemorySpool()).run()


async def test_a_source_that_breaks_is_said_after_its_samples_are_stored():
    recorded = recording(1000)

    class Broken(ReplaySource):
        async def events(self):
            async for event in super().events():
                yield event
                if isinstance(event, Mark):
                    raise SourceError("the sensor's battery is empty")

    async with ingest_server() as server:
        run = Collector(Broken(recorded, speed=0.0), server.address, MemorySpool(), delays=at_once)
        with pytest.raises(SourceError, match="battery is empty"):
            await run.run()
        assert server.finished.is_set()
        assert len(server.stream("pelvis").samples()[0]) >= 400


async def test_a_source_without_streams_is_an_error_and_nothing_is_sent():
    class Empty(ReplaySource):
        async def events(self):
            return
            yield

    async with ingest_server() as server:
        with pytest.raises(SourceError, match="before any sensor had started"):
            await Collector(Empty(recording(300)), server.address, MemorySpool()).run()
        assert server.hellos == []


async def test_a_source_that_can_wait_does_not_run_ahead_of_the_service(monkeypatch):
    monkeypatch.setattr("sensors.collector.MAX_WAITING", 30)
    recorded = recording()
    async with ingest_server() as server:
        spool = MemorySpool()
        most = 0

        def breaks(_count: int) -> bool:
            nonlocal most
            most = max(most, spool.end - spool.first)
            return False

        server.breaks = breaks
        await collector(recorded, server, spool).run()
        assert_all_there(server, recorded)
        assert most <= 35


async def test_reports_say_how_the_streams_do(monkeypatch):
    monkeypatch.setattr("sensors.collector.REPORT_EVERY_S", 0.02)
    async with ingest_server() as server:
        stop = asyncio.Event()
        run = asyncio.create_task(collector(recording(), server, speed=4.0).run(stop))
        await server.until(lambda: len(server.reports) >= 40)
        stop.set()
        await run
        assert {report.stream_id for report in server.reports} == set(server.streams)
        last = server.reports[-1]
        assert last.state == "streaming"
        assert last.rate_hz == pytest.approx(200.0, rel=0.15)


async def test_frames_on_the_line_never_exceed_what_the_service_lets_wait():
    async with ingest_server() as server:
        with server.silent():
            run = asyncio.create_task(collector(recording(), server).run())
            for _ in range(200):
                await asyncio.sleep(0.001)
            assert 0 < server.received_batches <= 48
            run.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await run


async def test_a_sensor_that_sends_too_few_samples_is_said_once(monkeypatch):
    monkeypatch.setattr("sensors.collector.REPORT_EVERY_S", 0.02)
    monkeypatch.setattr("sensors.stream_monitor.RATE_WINDOW_S", 0.6)
    slow = recording(300)
    slow = Recording(slow.name, slow.pelvis, replace(slow.upper_back, rate_hz=400.0), ())
    sentences = []
    async with ingest_server() as server:
        await collector(slow, server, speed=1.0, news=sentences.append).run()
        assert {report.state for report in server.reports} >= {"slow", "streaming"}
    said = [sentence for sentence in sentences if sentence.startswith("the upper-back sensor")]
    assert len(said) == 1
    assert "samples a second, expected 400: bring it closer" in said[0]
