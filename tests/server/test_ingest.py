"""The collector's line: what is taken, what is refused, and that nothing is half-written."""

from __future__ import annotations

import asyncio
import time

import msgspec
import numpy as np
import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed

from analysis.samples import Segment
from sensors import wire
from server.committing import GroupCommit
from tests.support.running_service import running
from tests.support.wire_line import STREAMS, batch, line_to


@pytest.fixture
async def line(live_service):
    async with line_to(live_service.address) as line:
        yield line


async def refusal(line):
    answer = await line.answer()
    assert isinstance(answer, wire.Refusal), answer
    return answer


async def closed_with(line):
    await line.socket.wait_closed()
    return line.socket.close_code


def stored(service, session_id, segment=Segment.PELVIS):
    return service.parts.store.raw.samples(session_id, segment).gyro[:, 0].tolist()


async def test_a_batch_is_on_the_disk_when_it_is_acknowledged(live_service, line):
    welcome = await line.hello(title="Morning")
    assert welcome.resume == {"pelvis-1": 0, "upper-back-1": 0}
    await line.send(batch(0))
    assert await line.answer() == wire.Acknowledge(stream_id="pelvis-1", sequence=0)
    assert stored(live_service, welcome.session) == [float(n) for n in range(20)]
    assert live_service.parts.store.sessions.get(welcome.session).title == "Morning"


async def test_a_double_is_acknowledged_again_and_kept_once(live_service, line):
    welcome = await line.hello()
    for sequence in (0, 1, 0, 1, 1):
        await line.send(batch(sequence))
        assert await line.answer() == wire.Acknowledge(stream_id="pelvis-1", sequence=sequence)
    assert stored(live_service, welcome.session) == [float(n) for n in range(40)]


async def test_a_hole_is_refused_with_what_was_expected_and_can_be_filled(live_service, line):
    welcome = await line.hello()
    await line.send(batch(0), batch(2))
    assert isinstance(await line.answer(), wire.Acknowledge)
    answer = await refusal(line)
    assert "expected 1" in answer.message
    assert (answer.code, answer.stream_id, answer.sequence) == ("sequence", "pelvis-1", 1)
    assert not answer.fatal
    await line.send_all([batch(1), batch(2)])
    assert stored(live_service, welcome.session) == [float(n) for n in range(60)]


async def test_an_unknown_stream_is_refused_and_the_line_goes_on(live_service, line):
    welcome = await line.hello()
    await line.send(batch(0, stream_id="nobody"))
    answer = await refusal(line)
    assert "unknown stream nobody" in answer.message
    assert "pelvis-1, upper-back-1" in answer.message
    assert not answer.fatal
    await line.send_all([batch(0)])
    assert len(stored(live_service, welcome.session)) == 20


NOT_FINITE = wire.pack_arrays(np.arange(1.0, 21.0), np.full((20, 3), np.nan), np.zeros((20, 3)))
BACKWARDS = wire.pack_arrays(np.arange(20.0, 0.0, -1.0), np.zeros((20, 3)), np.zeros((20, 3)))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"gyro": b"\0" * 239}, "gyro holds 12 bytes a sample, expected 240"),
        ({"accel": b""}, "accel holds 12 bytes a sample"),
        ({"time_s": b""}, "at least one sample"),
        ({"time_s": b"\0" * 8 * 2001}, "at most 2000 samples"),
        (NOT_FINITE, "gyro holds a value that is not a finite number"),
        (BACKWARDS, "time_s must increase"),
        ({"sequence": -1}, "sequence is 0 or more"),
        ({"received_s": float("nan")}, "received_s is not a finite number"),
        ({"lost_before": -4}, "lost_before is 0 or more"),
        ({"first_tick": 2**63}, "first_tick has at most 64 bits"),
    ],
)
async def test_a_batch_that_does_not_hold_together_is_refused(live_service, line, changes, words):
    welcome = await line.hello()
    await line.send(msgspec.structs.replace(batch(0), **changes))
    answer = await refusal(line)
    assert words in answer.message
    assert (answer.code, answer.fatal) == ("batch", False)
    assert stored(live_service, welcome.session) == []
    await line.send_all([batch(0)])


async def test_a_frame_that_is_no_message_is_refused_and_the_line_goes_on(line):
    await line.hello()
    await line.socket.send(msgspec.msgpack.encode({"type": "batch", "stream_id": 7}))
    answer = await refusal(line)
    assert "not a frame of wire version 1" in answer.message
    assert "stream_id" in answer.message
    await line.send_all([batch(0)])


async def test_a_text_frame_ends_the_line(line):
    await line.hello()
    await line.socket.send("hello")
    answer = await refusal(line)
    assert "expected a binary frame, received text" in answer.message
    assert await closed_with(line) == 1003


async def test_a_giant_frame_ends_the_line_and_the_session_goes_on(live_service, line):
    welcome = await line.hello()
    await line.send_all([batch(0)])
    await line.socket.send(b"\0" * (wire.MAX_FRAME_BYTES + 1))
    with pytest.raises(ConnectionClosed):
        await line.socket.recv()
    assert line.socket.close_code == 1009
    async with line_to(live_service.address) as again:
        resumed = await again.hello(session=welcome.session)
        assert resumed.resume == {"pelvis-1": 1, "upper-back-1": 0}


async def test_a_length_that_claims_more_than_is_there_is_refused_without_room_for_it(line):
    await line.hello()
    await line.socket.send(b"\xc6\xff\xff\xff\xff")  # MessagePack: 4 GB of bytes follow
    assert "not a frame" in (await refusal(line)).message


async def test_another_wire_version_is_refused(line):
    await line.send(wire.Hello(version=99, streams=STREAMS))
    answer = await refusal(line)
    assert "99" in answer.message
    assert "expected 1" in answer.message
    assert answer.fatal
    assert await closed_with(line) == 1008


async def test_the_first_frame_must_be_a_hello(line):
    await line.send(batch(0))
    assert (await refusal(line)).message == "the first frame must be a Hello"
    assert await closed_with(line) == 1008


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"streams": ()}, "names 1 to 1000 streams"),
        ({"streams": STREAMS[:1] * 2}, "names each stream once"),
        ({"session": "0123456789ab"}, "no session has the id"),
        ({"golfer": "0123456789ab"}, "no golfer has the id"),
        ({"title": "x" * 201}, "at most 200 characters"),
        ({"streams": (msgspec.structs.replace(STREAMS[0], rate_hz=0.0),)}, "rate above 0"),
        ({"streams": (msgspec.structs.replace(STREAMS[0], stream_id=""),)}, "1 to 100 printable"),
        ({"streams": (msgspec.structs.replace(STREAMS[0], sensor="x" * 201),)}, "sensor's name"),
        ({"streams": (msgspec.structs.replace(STREAMS[0], address="x" * 201),)}, "and address"),
    ],
)
async def test_a_hello_that_cannot_be_served_leaves_no_session(live_service, line, changes, words):
    await line.send(wire.Hello(**({"version": 1, "streams": STREAMS} | changes)))
    answer = await refusal(line)
    assert words in answer.message
    assert answer.fatal
    assert await closed_with(line) == 1008
    assert live_service.parts.store.sessions.all() == []


async def test_a_stream_of_another_session_is_refused(live_service, line):
    await line.hello()
    renamed = tuple(msgspec.structs.replace(s, stream_id=s.stream_id + "b") for s in STREAMS)
    async with line_to(live_service.address) as other, line_to(live_service.address) as third:
        another = (await other.hello(streams=renamed, title="Another")).session
        await third.send(wire.Hello(version=1, streams=STREAMS, session=another))
        assert "stream id of its own" in (await refusal(third)).message


async def test_a_hello_whose_welcome_was_lost_finds_its_session_again(live_service, line):
    """The collector does not know of the session that was opened for it."""
    hello = wire.Hello(version=1, streams=STREAMS, title="Tuesday")
    session_id = (await line.hello(title="Tuesday")).session
    line.socket.transport.abort()
    async with line_to(live_service.address) as again:
        await again.send(hello)
        assert (await again.answer()).session == session_id
    assert len(live_service.parts.store.sessions.all()) == 1


async def test_a_lost_line_leaves_the_session_open_and_a_new_hello_goes_on(live_service, line):
    session_id = (await line.hello()).session
    await line.send_all([batch(0), batch(1)])
    line.socket.transport.abort()
    async with line_to(live_service.address) as again:
        welcome = await again.hello(session=session_id)
        assert welcome.session == session_id
        assert welcome.resume == {"pelvis-1": 2, "upper-back-1": 0}
        await again.send_all([batch(1), batch(2)])
    assert live_service.parts.store.sessions.get(session_id).open
    assert stored(live_service, session_id) == [float(n) for n in range(60)]


async def test_a_restarted_sensor_is_a_further_hello_on_the_same_line(live_service, line):
    session_id = (await line.hello()).session
    await line.send_all([batch(0)])
    restarted = msgspec.structs.replace(STREAMS[0], stream_id="pelvis-2")
    welcome = await line.hello(streams=(restarted,), session=session_id)
    assert welcome.session == session_id
    assert welcome.resume["pelvis-2"] == 0
    await line.send_all([batch(0, stream_id="pelvis-2", start_s=1.0)])
    assert len(stored(live_service, session_id)) == 40


async def test_finish_ends_the_session_and_the_line(live_service, line):
    session_id = (await line.hello()).session
    await line.send(batch(0), batch(1), wire.Finish())
    assert [type(await line.answer()) for _ in range(2)] == [wire.Acknowledge] * 2
    assert await closed_with(line) == 1000
    session = live_service.parts.store.sessions.get(session_id)
    assert not session.open


async def test_what_comes_late_for_an_ended_session_is_kept(live_service, line):
    session_id = (await line.hello()).session
    await line.send_all([batch(0)])
    closed = await live_service.http.post(f"/api/sessions/{session_id}/close")
    assert closed.json()["open"] is False
    answer = await refusal(line)
    assert (answer.code, answer.fatal) == ("session-ended", False)
    await line.send_all([batch(1)])
    assert stored(live_service, session_id) == [float(n) for n in range(40)]


async def test_a_new_session_ends_those_that_were_left_open(live_service):
    async with line_to(live_service.address) as line:
        left = (await line.hello()).session
    while live_service.parts.collectors:  # noqa: ASYNC110 (the service's own set; seen soon)
        await asyncio.sleep(0.01)
    renamed = tuple(msgspec.structs.replace(s, stream_id=s.stream_id + "b") for s in STREAMS)
    async with line_to(live_service.address) as line:
        new = (await line.hello(streams=renamed)).session
        opened = await live_service.http.get("/api/sessions/current")
        assert opened.json()["id"] == new
    assert not live_service.parts.store.sessions.get(left).open


async def test_a_session_opened_on_the_page_waits_for_its_sensors(live_service):
    opened = (await live_service.http.post("/api/sessions", json={"title": "For A"})).json()
    async with line_to(live_service.address) as line:
        assert (await line.hello()).session == opened["id"]
    renamed = tuple(msgspec.structs.replace(s, stream_id=s.stream_id + "b") for s in STREAMS)
    async with line_to(live_service.address) as line:
        assert (await line.hello(streams=renamed)).session != opened["id"], "it has its sensors"


async def test_a_mark_without_length_is_refused_and_a_double_is_kept_once(live_service, line):
    session_id = (await line.hello()).session
    await line.send(wire.Mark(kind="stand", start_s=2.0, end_s=2.0))
    assert "start_s before end_s" in (await refusal(line)).message
    mark = wire.Mark(kind="stand", start_s=2.0, end_s=5.0)
    await line.send(mark, mark)
    await line.send_all([batch(0)])
    assert len(live_service.parts.store.sessions.marks(session_id)) == 1


async def test_when_the_disk_fails_nothing_is_acknowledged_and_the_collector_comes_again(
    settings,
):
    async with running(settings) as service, line_to(service.address) as line:
        session_id = (await line.hello()).session
        await line.send_all([batch(0)])
        database = settings.database_url.removeprefix("sqlite:///")
        broken = service.parts.commits._append
        service.parts.commits._append = _disk_full
        await line.send(batch(1))
        answer = await refusal(line)
        assert (answer.code, answer.fatal) == ("store", True)
        assert await closed_with(line) == 1013
        service.parts.commits._append = broken
        async with line_to(service.address) as again:
            assert (await again.hello(session=session_id)).resume["pelvis-1"] == 1
            await again.send_all([batch(1)])
        assert stored(service, session_id) == [float(n) for n in range(40)]
        assert database


def _disk_full(_batches):
    raise OSError(28, "No space left on device")


async def test_batches_that_wait_share_a_commit():
    groups = []

    def append(batches):
        groups.append(list(batches))
        time.sleep(0.02)  # the disk: while it writes, others wait
        return [1 for _ in batches]

    commits = GroupCommit(append)
    running_task = asyncio.create_task(commits.run())
    outcomes = [await commits.submit(number) for number in range(20)]
    assert await asyncio.gather(*outcomes) == [1] * 20
    running_task.cancel()
    assert [item for group in groups for item in group] == list(range(20))
    assert len(groups) <= 3


async def test_two_collectors_with_the_same_stream_keep_every_sample_once(live_service):
    async with line_to(live_service.address) as first, line_to(live_service.address) as second:
        session_id = (await first.hello()).session
        await second.hello(session=session_id)
        sent = [batch(number) for number in range(40)]
        await asyncio.gather(first.send_all(sent, ahead=1), _send_regardless(second, sent))
    assert stored(live_service, session_id) == [float(n) for n in range(800)]


async def _send_regardless(line, batches):
    """Send each batch once; it may be refused as coming too early."""
    for one in batches:
        await line.send(one)
        await line.answer()


async def test_a_page_of_another_site_may_not_send(live_service):
    url = live_service.address.replace("http://", "ws://") + "api/ingest"
    with pytest.raises(Exception, match="403"):
        async with connect(url, origin="http://elsewhere.example"):
            pass
