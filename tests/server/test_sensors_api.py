"""Sensors found, assigned and streamed through the service, over the real Bluetooth client."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace

import pytest
from websockets.asyncio.client import connect

from analysis.samples import Segment
from sensors.sensor_book import KnownSensor, SensorBook
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK, bluetooth_rig
from tests.support.counted_samples import expected
from tests.support.running_service import running

OTHER = "C0:00:00:00:00:09"


@pytest.fixture(autouse=True)
def _own_configuration(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


async def told_until(live, holds):
    """The first state told for which `holds` is true."""
    async with asyncio.timeout(15):
        async for frame in live:
            message = json.loads(frame)
            if message["type"] == "sensors" and holds(message):
                return message
    raise AssertionError("the channel ended")


async def assign_both(service):
    """Let a scan find the rig's pair, and say which is worn where."""
    async with connect(service.live_address.replace("api/live", "api/sensors/live")) as live:
        await service.http.post("/api/sensors/scan", json={"seconds": 30})
        await told_until(live, lambda told: len(told["sensors"]) == 2)
    for address, segment in ((PELVIS, "pelvis"), (UPPER_BACK, "upper_back")):
        answer = await service.http.put(f"/api/sensors/{address}", json={"segment": segment})
        assert answer.status_code == 200, answer.text


async def test_a_radio_that_is_off_says_how_to_switch_it_on(settings):
    async with running(replace(settings, radio=False)) as service:
        answer = await service.http.post("/api/sensors/scan", json={"seconds": 1})
        assert answer.status_code == 409
        assert "torsolog serve --radio" in answer.json()["detail"]
        state = (await service.http.get("/api/sensors")).json()
        assert state["radio"]["enabled"] is False
        assert state["sensors"] == []


async def test_an_unknown_sensor_cannot_be_assigned_nor_a_half_pair_started(settings):
    async with running(settings) as service:
        answer = await service.http.put(f"/api/sensors/{PELVIS}", json={"segment": "pelvis"})
        assert answer.status_code == 404
        answer = await service.http.post("/api/sensors/start", json={})
        assert answer.status_code == 409
        assert "pelvis and the upper back" in answer.json()["detail"]
        assert (await service.http.get("/api/sessions")).json() == []


async def test_two_remembered_sensors_change_places_though_none_was_seen(settings):
    async with running(settings) as service:
        refused = await service.http.post("/api/sensors/swap")
        assert refused.status_code == 409
        assert "say first which is worn where" in refused.json()["detail"]
        book = SensorBook()
        for address, segment in ((PELVIS, "pelvis"), (UPPER_BACK, "upper_back")):
            book.assign(
                KnownSensor(address=address, name="x", profile="open-sensor", segment=segment)
            )
        answer = await service.http.post("/api/sensors/swap")
        assert answer.status_code == 200, answer.text
        worn = {one["address"]: one["segment"] for one in answer.json()["sensors"]}
        assert worn == {PELVIS: "upper_back", UPPER_BACK: "pelvis"}


async def test_what_holds_a_sensor_is_remembered_until_it_is_said_anew(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        await assign_both(service)

        async def say(**place):
            answer = await service.http.put(f"/api/sensors/{PELVIS}", json=place)
            assert answer.status_code == 200, answer.text
            held = {
                one["address"]: (one["segment"], one["fixing"]) for one in answer.json()["sensors"]
            }
            return held[PELVIS]

        assert await say(segment="pelvis", fixing="strapped") == ("pelvis", "strapped")
        assert await say(segment="upper_back") == ("upper_back", "strapped")
        assert await say(segment="pelvis", fixing=None) == ("pelvis", None)
        refused = await service.http.put(
            f"/api/sensors/{PELVIS}", json={"segment": "pelvis", "fixing": "glued"}
        )
        assert refused.status_code == 422


async def test_a_device_that_no_profile_knows_is_refused_with_what_to_do(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add(OTHER, name="Kettle", advertised_services=[])
        async with connect(service.live_address.replace("api/live", "api/sensors/live")) as live:
            await service.http.post("/api/sensors/scan", json={"seconds": 0.5})
            await told_until(live, lambda told: told["radio"]["scanning"])
            told = await told_until(live, lambda told: not told["radio"]["scanning"])
        assert told["sensors"] == []
        answer = await service.http.put(f"/api/sensors/{OTHER}", json={"segment": "pelvis"})
        assert answer.status_code == 409
        assert f"No profile knows the device {OTHER}" in answer.json()["detail"]
        assert "torsolog profile" in answer.json()["detail"]


async def test_a_scan_shows_what_it_has_seen_before_it_ends(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        async with connect(service.live_address.replace("api/live", "api/sensors/live")) as live:
            await service.http.post("/api/sensors/scan", json={"seconds": 60})
            told = await told_until(live, lambda told: len(told["sensors"]) == 2)
            assert told["radio"]["scanning"] is True


async def test_a_computer_without_bluetooth_is_told_what_to_do(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.order("unplug")
        async with connect(service.live_address.replace("api/live", "api/sensors/live")) as live:
            answer = await service.http.post("/api/sensors/scan", json={"seconds": 1})
            assert answer.status_code == 202
            told = await told_until(live, lambda told: told["radio"]["obstacle"])
        assert told["radio"]["scanning"] is False
        words = "this computer has no Bluetooth LE adapter that works: plug one in"
        assert words in told["radio"]["obstacle"]


async def test_two_starts_at_the_same_instant_open_one_session(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        await assign_both(service)
        both = [service.http.post("/api/sensors/start", json={}) for _ in range(2)]
        answers = await asyncio.gather(*both)
        assert sorted(one.status_code for one in answers) == [200, 409]
        (session,) = (await service.http.get("/api/sessions")).json()
        assert [one.json().get("session_id") for one in answers if one.status_code == 200] == [
            session["id"]
        ]


async def test_a_run_that_cannot_start_leaves_no_session(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        await assign_both(service)
        settings.unsent_folder().write_text("in the way")
        answer = await service.http.post("/api/sensors/start", json={})
        assert answer.status_code == 409
        assert "unsent batches cannot be kept here" in answer.json()["detail"]
        assert (await service.http.get("/api/sessions")).json() == []
        settings.unsent_folder().unlink()
        assert (await service.http.post("/api/sensors/start", json={})).status_code == 200


async def test_what_the_run_says_to_people_is_told_newest_last_and_not_for_ever(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        await assign_both(service)
        await service.http.post("/api/sensors/start", json={})
        async with connect(service.live_address.replace("api/live", "api/sensors/live")) as live:
            await told_until(live, lambda told: len(told["radio"]["news"]) >= 3)
            await rig.order("drop", address=PELVIS)
            told = await told_until(
                live, lambda told: "pelvis" in told["radio"]["news"][-1]["text"]
            )
            for _ in range(2):
                await rig.order("drop", address=UPPER_BACK)
                told = await told_until(live, lambda told: sends_again(told["radio"]["news"]))
        news = told["radio"]["news"]
        assert len(news) == 5
        assert [one["at"] for one in news] == sorted(one["at"] for one in news)


def sends_again(news):
    return "upper-back sensor" in news[-1]["text"] and "sends again" in news[-1]["text"]


async def test_ending_the_session_stops_its_sensors(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        await assign_both(service)
        session = (await service.http.post("/api/sensors/start", json={})).json()["session_id"]
        ended = (await service.http.post(f"/api/sessions/{session}/close")).json()
        assert ended["open"] is False
        assert (await service.http.get("/api/sensors")).json()["radio"]["streaming"] is False


async def test_sensors_are_found_assigned_streamed_marked_and_stopped(settings):
    async with bluetooth_rig() as rig, running(settings) as service:
        await rig.add_pair()
        async with connect(service.live_address.replace("api/live", "api/sensors/live")) as live:
            answer = await service.http.post("/api/sensors/scan", json={"seconds": 1})
            assert answer.status_code == 202
            assert answer.json()["radio"]["scanning"] is True
            found = await told_until(live, lambda told: len(told["sensors"]) == 2)
            assert {one["address"] for one in found["sensors"]} == {PELVIS, UPPER_BACK}
            for address, segment in ((PELVIS, "pelvis"), (UPPER_BACK, "upper_back")):
                answer = await service.http.put(
                    f"/api/sensors/{address}", json={"segment": segment}
                )
                assert answer.status_code == 200
            answer = await service.http.post("/api/sensors/start", json={"title": "Morning"})
            assert answer.status_code == 200, answer.text
            session = answer.json()["session_id"]
            again = await service.http.post("/api/sensors/start", json={})
            assert again.status_code == 409
            await told_until(
                live, lambda told: all((one["rate_hz"] or 0) > 150 for one in told["sensors"])
            )
        mark = await service.http.post(
            f"/api/sessions/{session}/marks/now", json={"kind": "stand", "seconds": 1.0}
        )
        assert mark.status_code == 201, mark.text
        assert mark.json()["end_s"] - mark.json()["start_s"] == pytest.approx(1.0)
        stopped = (await service.http.post("/api/sensors/stop")).json()
        assert stopped["radio"]["streaming"] is False
        assert stopped["radio"]["obstacle"] is None
        ended = (await service.http.get(f"/api/sessions/{session}")).json()
        assert ended["open"] is False
        assert ended["title"] == "Morning"
        for segment, address in ((Segment.PELVIS, PELVIS), (Segment.UPPER_BACK, UPPER_BACK)):
            state = await rig.state(address)
            sent = len(expected(state["sent"]))
            stored = len(service.parts.store.raw.samples(session, segment).time_s)
            assert sent > 100
            assert 0 <= sent - stored <= 24, "all but what came after the stop"
            assert state["senders"] == 0, "nobody listens to the sensor any more"
