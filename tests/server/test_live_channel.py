"""What browsers are told, and that a slow one holds up nobody."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime

import msgspec
import numpy as np
import pytest
from websockets.asyncio.client import connect

from analysis.results import Calibration, Handedness, Interval, Mounting, Swing
from analysis.samples import SampleTable, Segment
from analysis.scale_calibration import ScaleFactors
from analysis.scale_in_force import SegmentScale
from sensors import wire
from server.publish import QUEUE_LIMIT, Hub
from server.status import SILENT_AFTER_S, StatusBoard
from server.traces import EVERY_S, TraceFeed
from server.views import CalibrationMessage, StatusMessage, TraceMessage
from tests.support.running_service import running
from tests.support.wire_line import STREAMS, batch, line_to


async def heard(socket, kind, within_s=10.0):
    """The next message of a kind."""
    async with asyncio.timeout(within_s):
        async for text in socket:
            message = json.loads(text)
            if message["type"] == kind:
                return message
    raise AssertionError("the channel closed")


def said(number):
    return CalibrationMessage(calibrated=True, text=str(number))


def trace(number):
    return TraceMessage(time_s=[number], pelvis_velocity_dps=[0.0], upper_back_velocity_dps=[0.0])


async def test_a_reader_first_gets_the_whole_list():
    hub = Hub()
    subscriber = hub.subscribe("s")
    hub.publish("s", said(1))
    assert await subscriber.next() is None, "None: the whole list, which holds what came before"
    hub.publish("s", said(2))
    hub.publish("other", said(3))
    assert await subscriber.next() == said(2)


async def test_of_traces_and_status_a_slow_reader_gets_the_newest():
    hub = Hub()
    subscriber = hub.subscribe("s")
    await subscriber.next()
    for number in range(1000):
        hub.publish("s", trace(float(number)))
        hub.publish("s", StatusMessage(streams=[]))
    hub.publish("s", said(1))
    assert await subscriber.next() == said(1), "what must not be lost goes first"
    assert {(await subscriber.next()).type for _ in range(2)} == {"trace", "status"}
    hub.publish("s", trace(7.0))
    assert await subscriber.next() == trace(7.0)


async def test_a_reader_too_slow_for_the_swings_starts_over_and_the_memory_stays_bounded():
    hub = Hub()
    slow, quick = hub.subscribe("s"), hub.subscribe("s")
    await slow.next()
    await quick.next()
    for number in range(QUEUE_LIMIT + 1):
        hub.publish("s", said(number))
        assert await quick.next() == said(number)
    assert len(slow._messages) == 0
    assert await slow.next() is None
    hub.publish("s", said(99))
    assert await slow.next() == said(99)


async def test_a_cancelled_wait_loses_nothing():
    hub = Hub()
    subscriber = hub.subscribe("s")
    await subscriber.next()
    waiting = asyncio.create_task(subscriber.next())
    await asyncio.sleep(0)
    waiting.cancel()
    await asyncio.gather(waiting, return_exceptions=True)
    hub.publish("s", said(1))
    assert await subscriber.next() == said(1)


async def test_those_who_follow_move_on_to_the_session_that_opens():
    hub = Hub()
    follower, stayer = hub.subscribe(None, follows=True), hub.subscribe("old")
    await follower.next()
    await stayer.next()
    hub.opened("new", said(1))
    hub.publish("new", said(2))
    assert [await follower.next(), await follower.next()] == [said(1), said(2)]
    hub.publish("old", said(3))
    assert await stayer.next() == said(3)


async def test_the_page_hears_of_a_session_its_streams_and_its_end(live_service):
    async with connect(live_service.live_address) as socket:
        assert await heard(socket, "hello") == {
            "type": "hello",
            "session": None,
            "swings": [],
            "streams": [],
        }
        async with line_to(live_service.address) as line:
            session_id = (await line.hello(title="Morning")).session
            opened = (await heard(socket, "session"))["session"]
            assert (opened["id"], opened["title"], opened["open"]) == (session_id, "Morning", True)
            await line.send_all([batch(0)])
            report = wire.StreamReport(
                stream_id="pelvis-1",
                state="slow",
                at_s=0.1,
                rate_hz=151.5,
                lost=3,
                battery_percent=71,
                clock_u_s=0.0012,
            )
            await line.send(report)
            streams = (await heard(socket, "status"))["streams"]
            while streams[0]["state"] == "streaming":
                streams = (await heard(socket, "status"))["streams"]
            assert streams[0] == {
                "stream_id": "pelvis-1",
                "segment": "pelvis",
                "sensor": "test pelvis",
                "state": "slow",
                "rate_hz": 151.5,
                "lost": 3,
                "last_seen_s": 19 / 200.0,
                "battery_percent": 71,
                "clock_u_ms": 1.2,
                "swapped": False,
                "sync_offset_ms": None,
            }
            await line.send(wire.Finish())
            assert (await heard(socket, "session"))["session"]["open"] is False


async def test_a_late_page_gets_what_was_before(live_service):
    async with line_to(live_service.address) as line:
        session_id = (await line.hello()).session
        store = live_service.parts.store
        for number in range(1, 61):
            store.swings.put(session_id, Swing(number, Interval(number, number + 0.5), {}, {}))
        url = live_service.address.replace("http://", "ws://")
        for path in ("api/live", f"api/sessions/{session_id}/live"):
            async with connect(url + path) as socket:
                hello = await heard(socket, "hello")
            assert [s["number"] for s in hello["swings"]] == list(range(11, 61))
            assert hello["session"]["swing_count"] == 60
            assert [s["segment"] for s in hello["streams"]] == ["pelvis", "upper_back"]


@pytest.mark.parametrize("path", ["api/sessions/0123456789ab/live", "api/sessions/x/live"])
async def test_the_channel_of_no_session_is_not_opened(live_service, path):
    with pytest.raises(Exception, match="403"):
        async with connect(live_service.address.replace("http://", "ws://") + path):
            pass


async def test_a_page_that_does_not_read_holds_up_no_collector(live_service):
    async with connect(live_service.live_address, max_queue=1) as stuck:
        await heard(stuck, "hello")
        async with line_to(live_service.address) as line:
            session_id = (await line.hello()).session
            for number in range(3000):
                live_service.parts.hub.publish(session_id, said("x" * 1000 + str(number)))
            async with asyncio.timeout(5):
                await line.send_all([batch(0), batch(1)])
        stuck.transport.abort()


class HandClock:
    """A clock that the test sets."""

    def __init__(self):
        self.at = 100.0

    def now(self):
        return datetime(2026, 5, 4, 9, 30, tzinfo=UTC)

    def monotonic(self):
        return self.at


async def test_a_sensor_that_falls_silent_is_said_at_once_and_its_return_too(settings):
    clock = HandClock()
    async with (
        running(settings, clock) as service,
        connect(service.live_address) as page,
        line_to(service.address) as line,
    ):
        await line.hello()
        await line.send_all([batch(0)])
        assert await heard_states(page, "streaming") == ["streaming", "streaming"]
        clock.at += SILENT_AFTER_S + 0.1
        await line.send_all([batch(1)])
        assert await heard_states(page, "silent") == ["streaming", "silent"]
        await line.send_all([batch(0, stream_id="upper-back-1")])
        assert await heard_states(page, "streaming", segment=1) == ["streaming", "streaming"]


async def heard_states(page, wanted, segment=1):
    """States of both sensors in the first status in which one is as wanted."""
    while True:
        states = [one["state"] for one in (await heard(page, "status"))["streams"]]
        if states[segment] == wanted:
            return states


def board(now=0.0):
    watched = StatusBoard()
    watched.expect(STREAMS, now)
    return watched


def states(watched, now):
    return {view.stream_id: view.state for view in watched.streams(now)}


def test_a_stream_without_data_is_silent_after_a_while_and_streams_again_on_the_next_batch():
    watched = board()
    watched.arrived(batch(0), 0.1, now=1.0)
    just_within = 1.0 + SILENT_AFTER_S
    assert states(watched, just_within) == {"pelvis-1": "streaming", "upper-back-1": "silent"}
    assert states(watched, just_within + 0.01)["pelvis-1"] == "silent"
    watched.arrived(batch(1), 0.2, now=4.0)
    assert states(watched, 4.0)["pelvis-1"] == "streaming"


def test_lost_samples_are_counted_and_what_the_collector_says_is_shown():
    watched = board()
    watched.arrived(batch(0, lost_before=4), 0.1, now=0.1)
    watched.arrived(batch(1, lost_before=2), 0.2, now=0.2)
    assert watched.streams(0.2)[0].lost == 6
    watched.reported(
        wire.StreamReport(stream_id="pelvis-1", state="lost", at_s=0.2, rate_hz=0.0, lost=9),
        now=0.2,
    )
    view = watched.streams(9.0)[0]
    assert (view.state, view.lost, view.last_seen_s) == ("lost", 9, 0.2)


def test_a_restarted_sensor_takes_the_place_of_its_former_stream():
    watched = board()
    again = msgspec.structs.replace(STREAMS[0], stream_id="pelvis-2")
    watched.expect((again,), now=5.0)
    assert [view.stream_id for view in watched.streams(5.0)] == ["pelvis-2", "upper-back-1"]


def table(start_s, samples=20, rate=1.0):
    time_s = start_s + np.arange(samples) / 200.0
    gyro = np.tile([0.0, rate, 0.0], (samples, 1))
    return SampleTable(time_s, gyro, np.zeros((samples, 3)))


@pytest.mark.parametrize(("handedness", "sign"), [(Handedness.RIGHT, 1), (Handedness.LEFT, -1)])
def test_a_trace_is_positive_toward_the_target(handedness, sign):
    feed = TraceFeed(handedness)
    feed.push(Segment.PELVIS, table(0.0, rate=1.0))
    feed.push(Segment.UPPER_BACK, table(0.0, rate=2.0))
    message = feed.take(now=0.0)
    np.testing.assert_allclose(message.pelvis_velocity_dps, sign * np.degrees(1.0))
    np.testing.assert_allclose(message.upper_back_velocity_dps, sign * np.degrees(2.0))


def test_a_trace_uses_the_mounting():
    feed = TraceFeed(Handedness.RIGHT)
    half = np.sqrt(0.5)
    # the sensor's x axis lies along the segment's y axis: a quarter turn about z
    mounting = Mounting(np.array([half, 0.0, 0.0, half]))
    feed.calibrate(Calibration(mounting, mounting, calibrated=True))
    along_x = SampleTable(
        np.arange(20) / 200.0, np.tile([3.0, 0.0, 0.0], (20, 1)), np.zeros((20, 3))
    )
    for segment in Segment:
        feed.push(segment, along_x)
    np.testing.assert_allclose(feed.take(now=0.0).pelvis_velocity_dps, np.degrees(3.0))


def test_a_trace_shows_what_is_known_of_the_scale():
    known = ScaleFactors(np.array([1.0, 1.01, 1.0]), np.full(3, 0.001))
    feed = TraceFeed(Handedness.RIGHT, [SegmentScale(Segment.PELVIS, known, from_s=0.0495)])
    for segment in Segment:
        feed.push(segment, table(0.0))
    message = feed.take(now=0.0)
    np.testing.assert_allclose(
        np.radians(message.pelvis_velocity_dps), [1.0] * 10 + [1.01] * 10, rtol=1e-12
    )
    np.testing.assert_allclose(np.radians(message.upper_back_velocity_dps), 1.0)


def test_traces_come_at_most_ten_times_a_second_and_show_each_sample_once():
    feed = TraceFeed(Handedness.RIGHT)
    shown, sent_at = [], []
    for step in range(100):
        for segment in Segment:
            feed.push(segment, table(step * 0.05, samples=10))
        message = feed.take(now=step * 0.05)
        if message is not None:
            sent_at.append(step * 0.05)
            shown += message.time_s
    assert len(sent_at) > 30
    assert np.diff(sent_at).min() >= EVERY_S
    assert shown == sorted(set(shown))
    assert len(shown) > 960


def test_a_trace_waits_for_the_slower_sensor():
    feed = TraceFeed(Handedness.RIGHT)
    feed.push(Segment.PELVIS, table(0.0, samples=40))
    assert feed.take(now=0.0) is None
    feed.push(Segment.UPPER_BACK, table(0.0, samples=20))
    assert feed.take(now=0.0).time_s[-1] == 19 / 200.0
