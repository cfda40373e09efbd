"""A simulated range session through the real service: live numbers are the stored numbers."""

from __future__ import annotations

import asyncio
import dataclasses
import functools
import json

import msgspec
import pytest
import pytest_asyncio
from websockets.asyncio.client import connect

from analysis.results import Fixing
from sensors import wire
from sensors.faults import SensorFaults
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from server.reanalyse import reanalyse, swing_again
from server.settings import Settings, sqlite_url
from tests.support.running_service import running
from tests.support.wire_line import STREAMS, line_to, simulated_messages

SWINGS = 3
WORN = (
    STREAMS[0],
    msgspec.structs.replace(STREAMS[1], rate_sample="mean", fixing="strapped"),
)
"""The upper back's sensor averages, is strapped on and says so, the other says nothing."""

pytestmark = pytest.mark.asyncio(loop_scope="module")


@functools.cache
def simulated():
    faults = {"upper_back": SensorFaults(averages=True)}
    return tuple(simulated_messages(SimulatedRangeSession(PracticePlan(SWINGS), faults, seed=5)))


async def messages_until_the_end(socket):
    """Every live message up to the one that says that the session ended."""
    received = []
    async for text in socket:
        received.append(json.loads(text))
        if received[-1]["type"] == "session" and not received[-1]["session"]["open"]:
            return received
    raise AssertionError("the live channel closed before the session ended")


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def streamed(tmp_path_factory):
    """A streamed session: the service, its live messages, the session's id."""
    url = sqlite_url(tmp_path_factory.mktemp("streamed") / "torsolog.db")
    async with (
        running(Settings(url, port=0)) as live_service,
        connect(live_service.live_address) as socket,
    ):
        listening = asyncio.create_task(messages_until_the_end(socket))
        async with line_to(live_service.address) as line:
            welcome = await line.hello(WORN, title="Streamed")
            await line.send_all(simulated())
            await line.send(wire.Finish())
            received = await asyncio.wait_for(listening, 60)
        yield live_service, received, welcome.session


def bits(number):
    return number.hex() if isinstance(number, float) else number


def same_bits(view, swing):
    """Whether a published swing and one of the analysis agree to the last bit."""
    return (
        view["number"] == swing.number
        and [view["window"]["start_s"], view["window"]["end_s"]]
        == [swing.window.start_s, swing.window.end_s]
        and {k: bits(v) for k, v in view["events"].items()}
        == {k: bits(v) for k, v in swing.events.items()}
        and {k: bits(v) for k, v in view["metrics"].items()}
        == {k: bits(v) for k, v in swing.metrics.items()}
        and {k: bits(v) for k, v in view["uncertainty"].items()}
        == {k: bits(v) for k, v in swing.uncertainty.items()}
        and view["flags"] == [dataclasses.asdict(flag) for flag in swing.flags]
    )


async def test_live_numbers_are_those_of_the_stored_samples_to_the_last_bit(streamed):
    service, received, session_id = streamed
    published = {m["swing"]["number"]: m["swing"] for m in received if m["type"] == "swing"}
    again = reanalyse(service.parts.store, session_id)
    assert len(again) == SWINGS
    assert sorted(published) == [1, 2, 3]
    for swing in again:
        assert same_bits(published[swing.number], swing)
    assert all(isinstance(s.metrics["separation_top_deg"], float) for s in again)
    streams = service.parts.store.sessions.streams(session_id)
    assert {one.segment: (one.rate_sample, one.fixing) for one in streams} == {
        "pelvis": (None, None),
        "upper_back": ("mean", "strapped"),
    }
    (calibration,) = service.parts.store.swings.calibrations(session_id)
    fixings = (calibration.pelvis.fixing, calibration.upper_back.fixing)
    assert fixings == (Fixing.UNKNOWN, Fixing.STRAPPED)


async def test_rest_gives_what_was_published(streamed):
    service, received, session_id = streamed
    published = {m["swing"]["number"]: m["swing"] for m in received if m["type"] == "swing"}
    answer = (await service.http.get(f"/api/sessions/{session_id}/swings")).json()
    assert answer == [published[number] for number in sorted(published)]
    one = (await service.http.get(f"/api/swings/{session_id}-2")).json()
    assert one == published[2]


async def test_the_window_alone_gives_the_same_swing_and_its_curves(streamed):
    service, _, session_id = streamed
    for record in service.parts.store.swings.of_session(session_id):
        again = swing_again(service.parts.store, record)
        assert dataclasses.replace(again, curves=None) == record.swing
        view = (await service.http.get(f"/api/swings/{record.id}/curves")).json()
        assert view["time_s"] == again.curves.time_s.tolist()
        assert view["separation_deg"] == again.curves.separation_deg.tolist()
        assert view["events"] == record.swing.events


async def test_the_calibration_is_read_from_its_marks_and_said(streamed):
    service, received, session_id = streamed
    said = [m for m in received if m["type"] == "calibration"]
    assert [m["calibrated"] for m in said] == [True]
    assert service.parts.store.sessions.get(session_id).calibrated
    (calibration,) = service.parts.store.swings.calibrations(session_id)
    stand = service.parts.store.sessions.marks(session_id)[0]
    assert (stand.kind, calibration.from_s) == ("stand", stand.start_s)


async def test_traces_and_status_come_while_it_streams(streamed):
    _, received, _ = streamed
    traces = [m for m in received if m["type"] == "trace"]
    assert traces
    for one in traces:
        assert len(one["time_s"]) == len(one["pelvis_velocity_dps"])
        assert len(one["time_s"]) == len(one["upper_back_velocity_dps"])
        assert one["time_s"] == sorted(one["time_s"])
    states = [s["state"] for m in received if m["type"] == "status" for s in m["streams"]]
    assert set(states) == {"streaming"}


@pytest.mark.parametrize("cut", [1, 3])
async def test_a_restart_of_the_service_in_mid_session_changes_no_number(settings, cut):
    sent = simulated()
    parts = [sent[: len(sent) * cut // 4], sent[len(sent) * cut // 4 :]]
    async with running(settings) as service, line_to(service.address) as line:
        session_id = (await line.hello(WORN)).session
        await line.send_all(parts[0])
    async with running(settings) as service:
        before = {r.id: r.swing for r in service.parts.store.swings.of_session(session_id)}
        async with line_to(service.address) as line:
            welcome = await line.hello(WORN, session=session_id)
            assert sum(welcome.resume.values()) == sum(
                isinstance(message, wire.SampleBatch) for message in parts[0]
            )
            await line.send_all(parts[1])
            await line.send(wire.Finish())
            await line.socket.wait_closed()
        kept = service.parts.store.swings.of_session(session_id)
        again = reanalyse(service.parts.store, session_id)
    assert [dataclasses.replace(s, curves=None) for s in again] == [r.swing for r in kept]
    assert len(kept) == SWINGS
    assert all(r.swing == before.get(r.id, r.swing) for r in kept)
