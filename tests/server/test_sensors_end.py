"""A run of this computer's sensors ends: by the page, with the service, against a full store."""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
import signal
import sys
from dataclasses import dataclass

import httpx
import pytest
from sqlalchemy.exc import OperationalError
from websockets.asyncio.client import connect

import server.listening
import server.radio
from analysis.samples import Segment
from server.store import Store
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK, bluetooth_rig
from tests.support.counted_samples import expected, numbers_of
from tests.support.running_service import running

AT = {Segment.PELVIS: PELVIS, Segment.UPPER_BACK: UPPER_BACK}
AFTER_STOP = 24
"""Samples that a sensor still sends while it is being stopped."""
IN_MEMORY = 50
"""Samples on their way to the spool when a process is killed: 250 ms at 200 Hz."""


@pytest.fixture(autouse=True)
def _own_configuration(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


async def told_until(service, holds):
    """The first state told on the sensors channel for which `holds` is true."""
    channel = service.address.replace("http", "ws") + "api/sensors/live"
    async with asyncio.timeout(20), connect(channel) as live:
        async for frame in live:
            message = json.loads(frame)
            if message["type"] == "sensors" and holds(message):
                return message
    raise AssertionError("the channel ended")


async def start(rig, service):
    """Both sensors found, assigned and streaming for a while; the session's id."""
    await rig.add_pair()
    await service.http.post("/api/sensors/scan", json={"seconds": 30})
    await told_until(service, lambda told: len(told["sensors"]) == 2)
    for segment, address in AT.items():
        await service.http.put(f"/api/sensors/{address}", json={"segment": segment.value})
    answer = await service.http.post("/api/sensors/start", json={})
    assert answer.status_code == 200, answer.text
    async with asyncio.timeout(20):
        for address in AT.values():
            while len(expected((await rig.state(address))["sent"])) < 200:  # noqa: ASYNC110
                await asyncio.sleep(0.02)
    return answer.json()["session_id"]


async def assert_all_stored(rig, store, session):
    """Every sample that was sent is stored once and in order, but those after the stop."""
    for segment, address in AT.items():
        sent = expected((await rig.state(address))["sent"])
        samples = store.raw.samples(session, segment)
        stored = numbers_of(samples.gyro, samples.accel)
        assert stored == sent[: len(stored)]
        assert len(stored) > 100
        assert len(sent) - len(stored) <= AFTER_STOP
        assert (await rig.state(address))["senders"] == 0


def no_commits(service, monkeypatch):
    """The store takes nothing until the patch is undone."""

    def refuse(_batches):
        raise OperationalError("INSERT", {}, Exception("database or disk is full"))

    monkeypatch.setattr(service.parts.commits, "_append", refuse)


async def test_the_end_of_the_service_stops_the_sensors_first_and_stores_all(settings):
    async with bluetooth_rig() as rig:
        async with running(settings) as service:
            session = await start(rig, service)
        store = Store(settings.database_url)
        await assert_all_stored(rig, store, session)
        assert store.sessions.get(session).open is False
        assert store.troubles.of(session) == []
        store.close()
    assert list(settings.unsent_folder().iterdir()) == []


async def test_what_the_store_did_not_take_before_the_end_is_sent_at_the_next_start(
    settings, monkeypatch
):
    monkeypatch.setattr(server.listening, "LAST_SAMPLES_S", 1.0)
    async with bluetooth_rig() as rig:
        async with running(settings) as service:
            session = await start(rig, service)
            no_commits(service, monkeypatch)
            await told_until(service, lambda told: told["radio"]["news"])
        assert len(list(settings.unsent_folder().iterdir())) == 1
        async with running(settings) as service:
            told = await told_until(service, lambda told: told["radio"]["news"])
            assert "stored now" in told["radio"]["news"][-1]["text"]
            assert service.parts.store.sessions.get(session).open is False
            await assert_all_stored(rig, service.parts.store, session)
    assert list(settings.unsent_folder().iterdir()) == []


@dataclass
class Serving:
    """`torsolog serve` as its own process."""

    process: asyncio.subprocess.Process
    address: str
    http: httpx.AsyncClient


@contextlib.asynccontextmanager
async def serving(database):
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "server.cli", "serve", "--no-browser", "--port", "0"),
        *("--database", str(database)),
        stderr=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.DEVNULL,
    )
    try:
        async with asyncio.timeout(60):
            said = (await process.stderr.readline()).decode()
        address = re.search(r"http://[\w.:]+/", said).group()
        async with httpx.AsyncClient(base_url=address, timeout=30) as http:
            yield Serving(process, address, http)
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        await process.wait()


async def test_a_service_that_is_killed_while_sensors_stream_stores_it_all_when_it_runs_again(
    settings, tmp_path
):
    async with bluetooth_rig() as rig:
        async with serving(tmp_path / "torsolog.db") as service:
            session = await start(rig, service)
            before = {at: expected((await rig.state(at))["sent"]) for at in AT.values()}
            service.process.kill()
            await service.process.wait()
        async with running(settings) as service:
            await told_until(service, lambda told: "stored now" in news(told))
            store = service.parts.store
            assert store.sessions.get(session).open is False
            for segment, address in AT.items():
                samples = store.raw.samples(session, segment)
                stored = numbers_of(samples.gyro, samples.accel)
                assert stored == expected((await rig.state(address))["sent"])[: len(stored)]
                assert len(before[address]) - len(stored) <= IN_MEMORY


async def test_a_service_that_is_stopped_while_its_sensors_are_lost_ends_without_a_word(tmp_path):
    async with bluetooth_rig() as rig, serving(tmp_path / "torsolog.db") as service:
        await start(rig, service)
        await rig.order("set", address=PELVIS, advertises=False)
        await rig.order("set", address=UPPER_BACK, connect_delay_s=30.0)
        for address in AT.values():
            await rig.order("drop", address=address)
        await told_until(service, lambda told: news(told).count("out of reach") == 2)
        service.process.send_signal(signal.SIGINT)
        async with asyncio.timeout(30):
            assert await service.process.wait() == 0
        assert await service.process.stderr.read() == b""


async def test_a_stop_that_cannot_store_ends_in_time_says_what_remains_and_stores_it_later(
    settings, monkeypatch
):
    monkeypatch.setattr(server.radio.Radio.stop, "__defaults__", (1.0,))
    async with bluetooth_rig() as rig, running(settings) as service:
        session = await start(rig, service)
        with monkeypatch.context() as patch:
            no_commits(service, patch)
            async with asyncio.timeout(15):
                stopped = (await service.http.post("/api/sensors/stop")).json()
            assert stopped["radio"]["streaming"] is False
            assert "the service has not stored all they sent" in stopped["radio"]["obstacle"]
            assert str(settings.unsent_folder()) in stopped["radio"]["obstacle"]
        await told_until(service, lambda told: "stored now" in news(told))
        await assert_all_stored(rig, service.parts.store, session)
        assert service.parts.store.sessions.get(session).open is False


def news(told):
    return " ".join(one["text"] for one in told["radio"]["news"])


async def test_left_over_samples_that_cannot_be_sent_are_told_with_their_place(settings):
    folder = settings.unsent_folder() / "broken"
    folder.mkdir(parents=True)
    (folder / "hello").write_bytes(b"no hello")
    async with running(settings) as service:
        told = await told_until(service, lambda told: told["radio"]["news"])
    assert f"lie unsent in {folder}" in told["radio"]["news"][0]["text"]
    assert (folder / "hello").exists()
