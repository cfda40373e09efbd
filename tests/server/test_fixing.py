"""What held the sensors of a session can be said after it has ended."""

from __future__ import annotations

import pytest
import pytest_asyncio

from analysis.results import Fixing
from sensors import wire
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from server.reanalyse import reanalyse
from tests.support.running_service import running
from tests.support.wire_line import STREAMS, line_to, simulated_messages

STRAPPED = {"pelvis": "strapped", "upper_back": "strapped"}
NOT_SAID = {"pelvis": None, "upper_back": None}


@pytest_asyncio.fixture
async def played(settings):
    """A service with one ended session of two swings, and the session's id."""
    session = SimulatedRangeSession(PracticePlan(2), {}, seed=8)
    async with running(settings) as service:
        async with line_to(service.address) as line:
            welcome = await line.hello(STREAMS)
            await line.send_all(simulated_messages(session))
            await line.send(wire.Finish())
            await line.socket.wait_closed()
        yield service, welcome.session


async def swings(service, session_id):
    return (await service.http.get(f"/api/sessions/{session_id}/swings")).json()


async def test_saying_it_afterwards_analyses_the_swings_again(played):
    service, session_id = played
    path = f"/api/sessions/{session_id}/fixing"
    before = await swings(service, session_id)
    assert len(before) == 2
    assert (await service.http.get(path)).json() == NOT_SAID
    curves = f"/api/swings/{session_id}-1/curves"
    curve_before = (await service.http.get(curves)).json()
    assert (await service.http.put(path, json=STRAPPED)).json() == STRAPPED
    assert (await service.http.get(path)).json() == STRAPPED
    after = await swings(service, session_id)
    for one, other in zip(after, before, strict=True):
        assert one["metrics"]["pelvis_peak_dps"] < 0.998 * other["metrics"]["pelvis_peak_dps"]
    assert (await service.http.get(curves)).json() != curve_before
    again = reanalyse(service.parts.store, session_id)
    assert [one["metrics"] for one in after] == [swing.metrics for swing in again]
    (calibration,) = service.parts.store.swings.calibrations(session_id)
    assert calibration.pelvis.fixing is calibration.upper_back.fixing is Fixing.STRAPPED
    await service.http.put(path, json=NOT_SAID)
    assert await swings(service, session_id) == before


async def test_an_open_session_must_end_first(client):
    session_id = (await client.post("/api/sessions", json={})).json()["id"]
    answer = await client.put(f"/api/sessions/{session_id}/fixing", json=STRAPPED)
    assert answer.status_code == 409
    assert "end it, then say what held the sensors" in answer.json()["detail"]


@pytest.mark.parametrize("body", [{}, {"pelvis": "glued", "upper_back": None}])
async def test_anything_else_is_refused(client, body):
    session_id = (await client.post("/api/sessions", json={})).json()["id"]
    answer = await client.put(f"/api/sessions/{session_id}/fixing", json=body)
    assert answer.status_code == 422


async def test_a_session_that_is_not_there_is_not_found(client):
    assert (await client.get("/api/sessions/0123456789ab/fixing")).status_code == 404
    answer = await client.put("/api/sessions/0123456789ab/fixing", json=STRAPPED)
    assert answer.status_code == 404
