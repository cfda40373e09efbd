"""The sync check from the page to the collector's clock, on the real service and collector."""

from __future__ import annotations

import asyncio

import numpy as np
import pytest

from analysis.samples import Segment
from sensors import wire
from sensors.clock import ArrivalClock, SourceClock
from sensors.collector import Collector
from sensors.service_link import ServiceAddress
from sensors.source import SamplePacket, StreamStarted
from sensors.spool import MemorySpool
from tests.support.radio_pair import RATE_HZ, SPAN, TICK_S, Scene, StampedStream, deliveries
from tests.support.running_service import running
from tests.support.wire_line import line_to

OFF_S = 0.012
"""By how much later the upper back's packets come, which no clock can see by itself."""
SCENE = Scene(interval_s=0.015, duration_s=62.0)
"""A connection after whose sync check the clocks are known to agree within 1 ms."""


def rate_at(true_s):
    """Angular rate of both, held as one and twisted to and fro, (n, 3) rad/s."""
    hertz = np.array([[1.3, 0.7], [0.9, 2.1], [1.7, 0.6]])
    return np.radians(120.0) * np.sin(2.0 * np.pi * hertz * true_s[:, None, None] + 1.0).sum(axis=2)


def learnt_clock():
    return ArrivalClock(RATE_HZ, tick_s=TICK_S)


class TwistedPair:
    """Two sensors turned as one over a simulated radio, one of them OFF_S late.

    Time is simulated: it runs on to a given moment as fast as the packets are taken. Accelerometer
    values carry the true time of each sample.
    """

    can_wait = False
    duration_s = None

    def __init__(self, clock=learnt_clock, rate=rate_at):
        self._clock, self._rate = clock, rate
        self._allowed_s = self._now_s = 0.0
        self._more = asyncio.Event()

    def run_to(self, until_s):
        self._allowed_s = until_s
        self._more.set()

    def now_s(self):
        return self._now_s

    async def events(self):
        packets = []
        rng = np.random.default_rng(4)
        for segment, sign in (("pelvis", 1), ("upper_back", -1)):
            stream = wire.Stream(stream_id=segment, segment=segment, sensor="x", rate_hz=RATE_HZ)
            yield StreamStarted(stream, self._clock())
            (delivery,) = deliveries(SCENE, rng, sign)
            packets += self._packets(segment, delivery)
        for packet in sorted(packets, key=lambda one: one.received_s):
            while packet.received_s > self._allowed_s:
                self._more.clear()
                await self._more.wait()
            self._now_s = packet.received_s
            yield packet
            await asyncio.sleep(0)

    def _packets(self, segment, delivery):
        late_s = 0.0 if segment == "pelvis" else OFF_S
        # its own attitude, so that the axes of the two differ
        turn = np.eye(3) if segment == "pelvis" else np.array([[0, 0, 1], [1, 0, 0], [0, 1, 0]])
        line = StampedStream(delivery, ticks=True)
        for row, true_s in enumerate(delivery.sample_s):
            lost = int(delivery.number[row]) - line.next
            line.next += lost + len(true_s)
            _, ticks = line.line.place(lost, line.steps, int(delivery.raw_tick[row]), SPAN)
            carried = np.repeat(true_s[:, None], 3, axis=1)
            received_s = float(delivery.received_s[row]) + late_s
            gyro = self._rate(true_s) @ turn
            yield SamplePacket(
                segment,
                ticks,
                gyro,
                carried,
                received_s,
                lost_before=lost,
                time_s=true_s + late_s,
            )


class Streaming:
    """A service with a collector of the pair on its line."""

    def __init__(self, service, source):
        self.service, self.source = service, source
        address = ServiceAddress(service.address.replace("http", "ws") + "api/ingest")
        self.collector = Collector(source, address, MemorySpool())
        self._stop = asyncio.Event()

    async def __aenter__(self):
        self._task = asyncio.create_task(self.collector.run(self._stop))
        return self

    async def __aexit__(self, *_):
        self._stop.set()
        await self._task

    async def run_to(self, until_s):
        """Let simulated time run on until the samples are stored."""
        self.source.run_to(until_s)
        raw = self.service.parts.store.raw
        async with asyncio.timeout(30):
            while min(self._stored_to_s(raw)) < until_s - 0.3:  # noqa: ASYNC110
                await asyncio.sleep(0.02)

    def _stored_to_s(self, raw):
        for segment in Segment:
            session = self.collector.session
            times = raw.samples(session, segment).accel[:, 0] if session else []
            yield times[-1] if len(times) else 0.0

    async def check(self, seconds=6.0):
        return await self.service.http.post(
            f"/api/sessions/{self.collector.session}/sync-check", json={"seconds": seconds}
        )

    def apart_s(self, from_s, to_s):
        """Mean true distance of the clocks over a stretch of true time, s, read off the store."""
        late = []
        for segment in Segment:
            table = self.service.parts.store.raw.samples(self.collector.session, segment)
            true_s = table.accel[:, 0]
            part = (true_s >= from_s) & (true_s < to_s)
            late.append(float(np.mean(table.time_s[part] - true_s[part])))
        return late[1] - late[0]


async def test_a_check_brings_clocks_that_are_twelve_milliseconds_apart_under_one(live_service):
    async with Streaming(live_service, TwistedPair()) as pair:
        await pair.run_to(30.0)
        off_s = pair.apart_s(24.0, 29.5)
        assert off_s == pytest.approx(OFF_S, abs=0.001)
        answer = await pair.check()
        assert answer.status_code == 200, answer.text
        found = answer.json()
        assert (found["verdict"], found["good"], found["applied"]) == ("good", True, True)
        assert found["offset_ms"] == pytest.approx(-1e3 * off_s, abs=0.3)
        assert found["u_ms"] < 0.5
        await pair.run_to(60.0)
        assert abs(pair.apart_s(50.0, 59.5)) < 0.001
        again = (await pair.check()).json()
        assert again["good"]
        assert abs(again["offset_ms"]) < 1.0
        session = pair.collector.session
        kept = (await live_service.http.get(f"/api/sessions/{session}/sync-checks")).json()
        assert [one["offset_ms"] for one in kept] == [found["offset_ms"], again["offset_ms"]]
        assert [one["applied"] for one in kept] == [True, True]
        marks = live_service.parts.store.sessions.marks(session)
        assert [(one.kind, one.start_s) for one in marks] == [
            ("sync", one["start_s"]) for one in kept
        ]
        board = live_service.parts.status(session)
        upper_back = board.streams(live_service.parts.clock.monotonic())[1]
        total = sum(one["offset_ms"] for one in kept)
        assert upper_back.sync_offset_ms == pytest.approx(total)


class Told(ArrivalClock):
    """Keeps the corrections it was given."""

    def correct(self, correction):
        self.given = correction
        super().correct(correction)


async def test_the_other_clock_is_held_where_it_is(live_service):
    clocks = []

    def clock():
        clocks.append(Told(RATE_HZ, tick_s=TICK_S))
        return clocks[-1]

    async with Streaming(live_service, TwistedPair(clock)) as pair:
        await pair.run_to(30.0)
        found = (await pair.check()).json()
    pelvis, upper_back = (one.given for one in clocks)
    assert (pelvis.offset_s, pelvis.u_s) == (0.0, 0.0)
    assert upper_back.offset_s == pytest.approx(1e-3 * found["offset_ms"])


async def test_a_second_check_waits_until_the_first_has_come_into_force(live_service):
    async with Streaming(live_service, TwistedPair()) as pair:
        await pair.run_to(30.0)
        assert (await pair.check()).json()["applied"]
        await pair.run_to(37.0)
        answer = await pair.check()
        assert answer.status_code == 409
        assert "still being brought together" in answer.json()["detail"]
        checks = live_service.parts.store.sync_checks.of(pair.collector.session)
        assert len(checks) == 1


async def test_times_that_their_source_gives_are_not_corrected_and_the_answer_says_so(live_service):
    source = TwistedPair(clock=SourceClock)
    async with Streaming(live_service, source) as pair:
        await pair.run_to(8.0)
        found = (await pair.check()).json()
        assert found["good"]
        assert found["applied"] is False
        assert "not applied" in found["text"]
        (kept,) = live_service.parts.store.sync_checks.of(pair.collector.session)
        assert kept.applied is False
        await pair.run_to(10.0)
        assert (await pair.check()).status_code == 200, "there is nothing to wait for"


async def test_sensors_that_lay_still_change_and_store_nothing(live_service):
    source = TwistedPair(rate=lambda true_s: np.zeros((len(true_s), 3)))
    async with Streaming(live_service, source) as pair:
        await pair.run_to(8.0)
        found = (await pair.check()).json()
        assert (found["verdict"], found["good"]) == ("too_little_motion", False)
        assert (found["offset_ms"], found["u_ms"], found["correlation"]) == (None, None, None)
        assert "twist both sensors" in found["text"]
        store, session = live_service.parts.store, pair.collector.session
        assert store.sync_checks.of(session) == []
        assert store.sessions.marks(session) == []


async def test_a_sensor_that_sends_nothing_is_named(live_service):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        answer = await live_service.http.post(
            f"/api/sessions/{session}/sync-check", json={"seconds": 5}
        )
    assert answer.status_code == 409
    assert "pelvis and upper back sensor sends nothing" in answer.json()["detail"]


def twist(stream_id, seconds=8.0, late_s=0.0):
    """The twist as batches of a stream."""
    samples = 20
    for sequence in range(int(seconds * RATE_HZ) // samples):
        true_s = (sequence * samples + np.arange(samples)) / RATE_HZ
        arrays = wire.pack_arrays(true_s + late_s, rate_at(true_s), np.ones((samples, 3)))
        yield wire.SampleBatch(
            stream_id=stream_id,
            sequence=sequence,
            first_tick=sequence * samples,
            ticks_per_sample=1.0,
            received_s=float(true_s[-1]),
            **arrays,
        )


async def send_twist(line):
    for both in zip(twist("pelvis-1"), twist("upper-back-1", late_s=0.012), strict=True):
        await line.send_all(both)


async def correction(line):
    """The next correction that the service sends."""
    async with asyncio.timeout(10):
        while not isinstance(found := await line.answer(), wire.ClockCorrection):
            continue
    return found


async def test_a_collector_that_left_is_told_when_it_comes_again_and_after_a_restart(settings):
    async with running(settings) as service:
        async with line_to(service.address) as line:
            session = (await line.hello(corrects=True)).session
            await send_twist(line)
        answer = await service.http.post(f"/api/sessions/{session}/sync-check", json={"seconds": 6})
        found = answer.json()
        assert (found["good"], found["applied"]) == (True, False)
        assert "as soon as the collector" in found["text"]
    async with running(settings) as service, line_to(service.address) as line:
        await line.hello(session=session, corrects=True)
        told = await correction(line)
        assert (told.stream_id, round(told.offset_s, 4)) == ("upper-back-1", -0.012)
        await line.send(wire.Corrected(check=told.check, taken=True), wire.Finish())
        await line.socket.wait_closed()
        (kept,) = service.parts.store.sync_checks.of(session)
        assert kept.applied is True


async def test_a_collector_of_an_earlier_release_is_sent_nothing_it_does_not_know(live_service):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        await send_twist(line)
        answer = await live_service.http.post(
            f"/api/sessions/{session}/sync-check", json={"seconds": 6}
        )
        assert answer.json()["applied"] is False
        await line.send_all([wire.Mark(kind="sync", start_s=0.0, end_s=1.0)])
        await line.send(wire.Finish())
        await line.socket.wait_closed()
        assert line.socket.close_code == 1000


async def test_an_answer_that_nobody_asked_for_is_refused(live_service):
    async with line_to(live_service.address) as line:
        await line.hello(corrects=True)
        await line.send(wire.Corrected(check=2**63 + 1, taken=True))
        async with asyncio.timeout(5):
            refusal = await line.answer()
    assert (refusal.code, refusal.fatal) == ("frame", False)
