"""REST in process: what goes in, what comes out, and what is refused with which words."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from importlib.metadata import version

import httpx
import numpy as np
import pytest

from analysis.columns import COLUMNS
from analysis.results import Calibration, Flag, Interval, Mounting, Swing
from sensors import wire
from server.app import build_app
from server.store import NewSession

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


async def add_golfer(client, **changes):
    answer = await client.post("/api/golfers", json={"name": "Golfer A"} | changes)
    assert answer.status_code == 201, answer.text
    return answer.json()


async def open_session(client, **changes):
    answer = await client.post("/api/sessions", json=changes)
    assert answer.status_code == 201, answer.text
    return answer.json()


def add_swings(client, session_id, *numbers):
    store = client.app.state.service.store
    for number in numbers:
        flags = () if number % 2 else (Flag("gap", "Samples are missing."),)
        store.swings.put(
            session_id,
            Swing(
                number=number,
                window=Interval(10.0 * number, 10.0 * number + 4.0),
                events={"impact_s": 10.0 * number + 2.5},
                metrics={"separation_top_deg": 0.1 + 0.2 * number, "transition_lead_ms": -12.5},
                flags=flags,
            ),
        )


def problem(answer, status):
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == status
    assert body["type"] == "about:blank"
    assert body["title"]
    return body


async def test_health_names_the_version(client):
    answer = await client.get("/api/health")
    assert answer.json() == {"status": "ok", "version": version("torsolog")}


async def test_columns_are_those_of_the_data_dictionary_in_its_order(client):
    columns = (await client.get("/api/columns")).json()
    assert [c["name"] for c in columns] == [c.name for c in COLUMNS]
    assert [(c["unit"], c["estimate"], c["decimals"]) for c in columns] == [
        (c.unit, c.estimate, c.decimals) for c in COLUMNS
    ]


async def test_a_golfer_is_added_found_and_listed(client):
    facts = {"handedness": "left", "birth_year": 1961, "height_m": 1.76, "mass_kg": 81.5}
    added = await add_golfer(client, name="  Golfer B ", sex="female", **facts)
    assert (
        added == {"id": added["id"], "name": "Golfer B", "sex": "female", "invented": False} | facts
    )
    assert (await client.get(f"/api/golfers/{added['id']}")).json() == added
    assert (await client.get("/api/golfers")).json() == [added]


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ({}, "body.name"),
        ({"name": "   "}, "body.name"),
        ({"name": "A", "handedness": "both"}, "body.handedness"),
        ({"name": "A", "height_m": 176}, "body.height_m"),
        ({"name": "A", "height_m": "tall"}, "body.height_m"),
        ({"name": "A", "mass_kg": -1}, "body.mass_kg"),
        ({"name": "A", "shoe_size": 44}, "body.shoe_size"),
    ],
)
async def test_a_golfer_that_cannot_be_is_refused_with_the_field(client, body, where):
    answer = await client.post("/api/golfers", json=body)
    said = problem(answer, 422)
    assert [one["where"] for one in said["errors"]] == [where]
    assert where in said["detail"]
    assert (await client.get("/api/golfers")).json() == []


async def test_a_body_that_is_no_json_is_a_problem(client):
    answer = await client.post(
        "/api/golfers", content=b"{", headers={"content-type": "application/json"}
    )
    problem(answer, 422)


async def test_a_body_that_is_no_text_is_a_problem(client):
    answer = await client.post(
        "/api/golfers", content=b"{\xff}", headers={"content-type": "application/json"}
    )
    problem(answer, 400)


async def test_numbers_that_json_does_not_know_are_refused(client):
    answer = await client.post(
        "/api/golfers",
        content=b'{"name": "A", "mass_kg": NaN}',
        headers={"content-type": "application/json"},
    )
    problem(answer, 422)


async def test_a_session_is_opened_current_and_ended(client):
    problem(await client.get("/api/sessions/current"), 404)
    golfer = await add_golfer(client)
    opened = await open_session(client, golfer_id=golfer["id"], title="Morning")
    assert opened["open"]
    assert (opened["golfer_name"], opened["ended_at"]) == ("Golfer A", None)
    assert datetime.fromisoformat(opened["started_at"]).utcoffset().total_seconds() == 0
    assert (await client.get("/api/sessions/current")).json() == opened
    ended = (await client.post(f"/api/sessions/{opened['id']}/close")).json()
    assert not ended["open"]
    assert (await client.get(f"/api/sessions/{opened['id']}")).json() == ended
    problem(await client.get("/api/sessions/current"), 404)


async def test_sessions_are_listed_newest_first_and_by_golfer(client):
    golfer = await add_golfer(client)
    first = await open_session(client, golfer_id=golfer["id"])
    second = await open_session(client, title="Second")
    listed = (await client.get("/api/sessions")).json()
    assert [s["id"] for s in listed] == [second["id"], first["id"]]
    assert [s["open"] for s in listed] == [True, False], "a new session ends the one left open"
    one = (await client.get("/api/sessions", params={"golfer": golfer["id"]})).json()
    assert [s["id"] for s in one] == [first["id"]]


async def test_a_session_of_an_unknown_golfer_is_not_opened(client):
    answer = await client.post("/api/sessions", json={"golfer_id": "0123456789ab"})
    assert problem(answer, 404)["detail"] == "no golfer has the id '0123456789ab'"
    assert (await client.get("/api/sessions")).json() == []


async def test_a_mark_is_kept(client):
    session = await open_session(client)
    mark = {"kind": "stand", "start_s": 1.0, "end_s": 4.0}
    answer = await client.post(f"/api/sessions/{session['id']}/marks", json=mark)
    assert answer.status_code == 201
    assert answer.json() == {"id": 1, "session_id": session["id"]} | mark


async def test_the_calibration_in_force_is_given_in_the_words_of_the_live_channel(client):
    session = await open_session(client)
    path = f"/api/sessions/{session['id']}/calibration"
    assert "no calibration yet" in problem(await client.get(path), 409)["detail"]
    problem(await client.get("/api/sessions/0123456789ab/calibration"), 404)
    store = client.app.state.service.store
    upright = Mounting(np.array([1.0, 0.0, 0.0, 0.0]))
    doubt = Flag("bow_crooked", "The pelvis turned sideways during the bow.")
    for from_s, flags in ((9.0, ()), (4.0, (doubt,))):
        store.swings.add_calibration(
            session["id"], Calibration(upright, upright, from_s, calibrated=True, flags=flags)
        )
    assert (await client.get(path)).json() == {
        "calibrated": True,
        "text": "Calibrated: both sensors are measured against the body.",
        "repeats": 1,
    }


def hear(service, session_id, segment, *, to_s):
    """A sensor of this segment has sent up to a session time."""
    stream = wire.Stream(stream_id=segment, segment=segment, sensor="test", rate_hz=100.0)
    board, now = service.status(session_id), service.clock.monotonic()
    board.expect((stream,), now)
    rest = wire.pack_arrays(np.array([to_s]), np.zeros((1, 3)), np.zeros((1, 3)))
    count = {"sequence": 0, "first_tick": 0, "ticks_per_sample": 1.0, "received_s": to_s}
    board.arrived(wire.SampleBatch(stream_id=segment, **count, **rest), to_s, now)


async def test_the_last_seconds_that_both_sensors_sent_can_be_marked(client):
    session = await open_session(client)
    hear(client.app.state.service, session["id"], "pelvis", to_s=9.5)
    hear(client.app.state.service, session["id"], "upper_back", to_s=9.25)
    just_now = {"kind": "stand", "seconds": 3.0}
    answer = await client.post(f"/api/sessions/{session['id']}/marks/now", json=just_now)
    assert answer.status_code == 201
    assert (answer.json()["start_s"], answer.json()["end_s"]) == (6.25, 9.25)


async def test_nothing_is_marked_just_now_while_a_sensor_sends_nothing(client):
    session = await open_session(client)
    hear(client.app.state.service, session["id"], "pelvis", to_s=9.5)
    just_now = {"kind": "bow", "seconds": 5.0}
    answer = await client.post(f"/api/sessions/{session['id']}/marks/now", json=just_now)
    assert "upper back sensor sends nothing" in problem(answer, 409)["detail"]
    assert client.app.state.service.store.sessions.marks(session["id"]) == []


@pytest.mark.parametrize(
    "mark",
    [
        {"kind": "jump", "start_s": 1.0, "end_s": 4.0},
        {"kind": "stand", "start_s": 4.0, "end_s": 4.0},
        {"kind": "stand", "start_s": "soon", "end_s": 4.0},
        {"kind": "stand", "start_s": 1.0},
    ],
)
async def test_a_mark_that_is_none_is_refused(client, mark):
    session = await open_session(client)
    problem(await client.post(f"/api/sessions/{session['id']}/marks", json=mark), 422)
    assert client.app.state.service.store.sessions.marks(session["id"]) == []


async def test_swings_of_a_session_come_in_order_with_their_moments(client):
    session = await open_session(client)
    add_swings(client, session["id"], 2, 1)
    swings = (await client.get(f"/api/sessions/{session['id']}/swings")).json()
    assert [s["number"] for s in swings] == [1, 2]
    assert [s["usable"] for s in swings] == [True, False]
    assert swings[1]["flags"] == [{"code": "gap", "text": "Samples are missing.", "spoils": True}]
    assert swings[0]["metrics"]["separation_top_deg"] == 0.1 + 0.2
    began = datetime.fromisoformat(session["started_at"])
    assert (datetime.fromisoformat(swings[0]["at"]) - began).total_seconds() == 12.5
    one = (await client.get(f"/api/swings/{swings[0]['id']}")).json()
    assert one == swings[0]


async def test_curves_of_a_swing_without_samples_are_not_there(client):
    session = await open_session(client)
    add_swings(client, session["id"], 1)
    problem(await client.get(f"/api/swings/{session['id']}-1/curves"), 404)


@pytest.mark.parametrize(
    "path",
    [
        "/api/golfers/0123456789ab",
        "/api/golfers/0123456789ab/swings.csv",
        "/api/sessions/0123456789ab",
        "/api/sessions/0123456789ab/swings",
        "/api/sessions/0123456789ab/swings.csv",
        "/api/swings/0123456789ab-1",
        "/api/swings/0123456789ab-1/curves",
        "/api/nothing",
        "/nothing",
        "/static/nothing.js",
    ],
)
async def test_what_is_not_there_is_a_problem(client, path):
    problem(await client.get(path), 404)


@pytest.mark.parametrize(
    "path",
    [
        "/api/golfers/1",
        "/api/sessions/..%2f..%2fetc",
        "/api/sessions/0123456789AB",
        "/api/swings/0123456789ab",
        "/api/swings/0123456789ab-0",
        "/api/swings/0123456789ab-1234567",
        "/api/sessions?golfer=x",
    ],
)
async def test_an_id_that_is_none_is_refused(client, path):
    assert (await client.get(path)).status_code in (404, 422)
    assert (await client.get(path)).headers["content-type"] == "application/problem+json"


async def test_a_wrong_method_is_a_problem(client):
    answer = await client.delete("/api/golfers")
    problem(answer, 405)
    assert answer.headers["allow"] == "GET, POST"


async def test_the_csv_of_a_session_reads_back_to_the_numbers_of_the_api(client):
    golfer = await add_golfer(client, name="=Golfer")
    session = await open_session(client, golfer_id=golfer["id"], title="Morning")
    add_swings(client, session["id"], 1, 2)
    answer = await client.get(f"/api/sessions/{session['id']}/swings.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    swings = (await client.get(f"/api/sessions/{session['id']}/swings")).json()
    assert len(rows) == len(swings) == 2
    for row, swing in zip(rows, swings, strict=True):
        assert row["session_id"] == session["id"]
        assert row["golfer"] == "'=Golfer"
        assert int(row["swing"]) == swing["number"]
        for name in ("separation_top_deg", "transition_lead_ms"):
            assert float(row[name]) == swing["metrics"][name]
        assert float(row["impact_s"]) == swing["events"]["impact_s"]
    assert [row["quality"] for row in rows] == ["ok", "gap"]
    assert rows[0]["transition_lead_ms"] == "-12.5"


async def test_the_csv_of_a_golfer_holds_every_session_and_no_other_golfer(client):
    golfer = await add_golfer(client)
    store = client.app.state.service.store
    for title, owner in (("One", golfer["id"]), ("Two", golfer["id"]), ("Other", None)):
        add_swings(client, store.sessions.open(NewSession(title, NOW, owner)).id, 1, 2)
    answer = await client.get(f"/api/golfers/{golfer['id']}/swings.csv")
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert sorted({row["session"] for row in rows}) == ["One", "Two"]
    assert len(rows) == 4


async def test_openapi_declares_every_problem_and_describes_every_route(client):
    described = (await client.get("/api/openapi.json")).json()
    assert "HTTPValidationError" not in described["components"]["schemas"]
    assert {tag["name"] for tag in described["tags"]} == {
        "about",
        "change",
        "golfers",
        "sensors",
        "sessions",
        "swings",
    }
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            assert operation["tags"], path
            assert operation["summary"], path
            assert operation["description"], path
            bad_input = operation["responses"]["422"]["content"]
            assert list(bad_input) == ["application/problem+json"], f"{method} {path}"
            if "{" in path:
                assert "404" in operation["responses"], f"{method} {path}"


async def test_an_error_of_our_own_is_a_problem_and_names_no_inside(settings):
    app = build_app(settings)
    app.state.service.store.golfers.all = lambda: 1 / 0
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        said = problem(await client.get("/api/golfers"), 500)
    app.state.service.store.close()
    assert "division" not in str(said)
