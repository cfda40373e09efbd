"""A service that cannot keep up says by how much it is late, instead of being late in silence."""

from __future__ import annotations

import asyncio
import json

import msgspec
import pytest
from websockets.asyncio.client import connect

from sensors import wire
from server.lateness import LATE_FROM_S, lateness
from server.live_session import Progress
from server.status import SILENT_AFTER_S, StatusBoard
from tests.support.running_service import running
from tests.support.wire_line import STREAMS, batch, line_to

PELVIS, UPPER_BACK = (one.stream_id for one in STREAMS)
UP_TO_DATE = Progress(100.0, anew=False)


def report(stream_id, at_s, state="streaming"):
    return wire.StreamReport(stream_id=stream_id, state=state, at_s=at_s, rate_hz=200.0)


def board(seen_s=100.0, told_s=100.2, state="streaming"):
    """Both sensors seen to a session time, and what their collector said a moment ago of it."""
    watched = StatusBoard()
    watched.expect(STREAMS, 0.0)
    for stream_id in (PELVIS, UPPER_BACK):
        watched.arrived(batch(0, stream_id), seen_s, now=200.0)
        watched.reported(report(stream_id, told_s, state), now=200.0)
    return watched


def test_a_service_that_keeps_up_says_nothing():
    assert lateness(board(), UP_TO_DATE) is None
    assert lateness(board(), None) is None


def test_samples_that_wait_in_the_collector_are_said_with_how_late_they_are():
    assert "Swings show 12 s late" in lateness(board(told_s=112.0), UP_TO_DATE)
    assert lateness(board(told_s=100.0 + 0.9 * LATE_FROM_S), UP_TO_DATE) is None


def test_an_analysis_that_is_behind_the_store_is_said_and_adds_to_it():
    assert "Swings show 30 s late" in lateness(board(), Progress(70.0, anew=False))
    assert "Swings show 42 s late" in lateness(board(told_s=112.0), Progress(70.0, anew=False))


def test_a_session_that_is_read_once_more_is_said_to_be():
    assert "read once more" in lateness(board(), Progress(7.0, anew=True))
    assert lateness(board(), Progress(99.0, anew=True)) is None


@pytest.mark.parametrize("state", ["silent", "lost"])
def test_a_sensor_that_sends_nothing_does_not_make_the_service_late(state):
    watched = board()
    watched.reported(report(PELVIS, 160.0, state), now=260.0)
    assert lateness(watched, Progress(100.0, anew=False)) is None


def test_a_recording_that_is_poured_in_is_late_for_nobody():
    watched = board()
    for stream_id in (PELVIS, UPPER_BACK):
        watched.reported(report(stream_id, 110.0), now=201.0)
    assert lateness(watched, Progress(20.0, anew=False)) is None


def test_samples_that_wait_are_no_silence_of_the_sensor():
    watched = board()
    later = 200.0 + 3.0 * SILENT_AFTER_S
    for stream_id in (PELVIS, UPPER_BACK):
        watched.reported(report(stream_id, 104.0), now=later)
    assert {one.state for one in watched.streams(later)} == {"streaming"}
    gone = later + 1.1 * SILENT_AFTER_S
    assert {one.state for one in watched.streams(gone)} == {"silent"}, "its collector says no more"


def test_a_service_that_stood_still_itself_calls_no_sensor_silent():
    watched = board()
    back = 200.0 + 0.5 + 3.0 * SILENT_AFTER_S
    watched.was_away(3.0 * SILENT_AFTER_S)
    assert {one.state for one in watched.streams(back)} == {"streaming"}
    assert {one.state for one in watched.streams(back + SILENT_AFTER_S)} == {"silent"}


async def test_pages_are_told_how_late_the_service_is_and_when_it_is_no_longer(settings):
    async with running(settings) as service, line_to(service.address) as line:
        await line.hello()
        await line.send_all([batch(0, one) for one in (PELVIS, UPPER_BACK)])
        async with connect(service.live_address) as page:
            for stream_id in (PELVIS, UPPER_BACK):
                await line.send(report(stream_id, 12.1))
            assert "Swings show 12 s late" in await late_until(page, lambda late: late)
            for stream_id in (PELVIS, UPPER_BACK):
                await line.send(report(stream_id, 0.1))
            assert await late_until(page, lambda late: not late) is None


async def late_until(page, holds):
    """What the page is told of lateness, once it holds."""
    async with asyncio.timeout(10):
        async for text in page:
            message = json.loads(text)
            if message["type"] == "status" and holds(message["late"]):
                return message["late"]
    raise AssertionError("the channel closed")


def test_a_sensor_that_starts_anew_begins_without_lateness():
    watched = board(told_s=112.0)
    again = tuple(
        msgspec.structs.replace(one, stream_id=one.stream_id + "-again") for one in STREAMS
    )
    watched.expect(again, now=201.0)
    assert lateness(watched, UP_TO_DATE) is None
