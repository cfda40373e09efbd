"""One browser and one served club for all tests of the pages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import msgspec
import pytest

from sensors import wire
from sensors.golfer_simulation import (
    LONG_TURN_GOLFER,
    SHORT_TURN_GOLFER,
    SimulatedGolfer,
    SimulatedRangeSession,
)
from sensors.practice_plan import PracticePlan
from server.settings import Settings, sqlite_url
from tests.support.browser_page import chromium, fresh_context, watched_page
from tests.support.sensors_page import phone_on
from tests.support.service_thread import SensorLine, ServiceThread
from tests.support.wire_line import STREAMS, simulated_messages

SWINGS = 3


@dataclass(frozen=True)
class Club:
    """A service with an ended session of a right-hander and one of a left-hander."""

    service: ServiceThread
    right: str
    left: str


def simulated(golfer: SimulatedGolfer = LONG_TURN_GOLFER, swings: int = SWINGS, seed: int = 5):
    return SimulatedRangeSession(PracticePlan(swings, busy=0.3), seed=seed, golfer=golfer)


def named(start: str, messages: Iterable[wire.FromCollector]) -> list[wire.FromCollector]:
    """The same with stream ids of their own: every start of a sensor has one."""
    return [
        msgspec.structs.replace(message, stream_id=start + message.stream_id)
        if isinstance(message, wire.Stream | wire.SampleBatch)
        else message
        for message in messages
    ]


def stream(service: ServiceThread, name: str, golfer: SimulatedGolfer) -> str:
    """Id of an ended session with the golfer's simulated swings."""
    golfer_id = service.add_golfer(name=name, handedness=golfer.handedness)
    streams = tuple(named(golfer_id, STREAMS))
    with SensorLine(service, golfer=golfer_id, title="Streamed", streams=streams) as line:
        line.send(named(golfer_id, simulated_messages(simulated(golfer))))
    return line.session_id


@pytest.fixture(scope="session")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture
def empty_service(tmp_path):
    service = ServiceThread(Settings(sqlite_url(tmp_path / "torsolog.db"), port=0)).start()
    yield service
    service.stop()


@pytest.fixture
def own_configuration(tmp_path, monkeypatch):
    """Sensors are remembered in this test's own folder."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@pytest.fixture
def phone(browser, empty_service):
    """A phone on a service of its own; it must have met no error."""
    with phone_on(browser, empty_service.address) as (page, misdeeds):
        yield page
        assert misdeeds.errors == []


@pytest.fixture(scope="session")
def club(tmp_path_factory):
    folder = tmp_path_factory.mktemp("club")
    service = ServiceThread(Settings(sqlite_url(folder / "torsolog.db"), port=0)).start()
    left_hander = replace(SHORT_TURN_GOLFER, handedness="left")
    right = stream(service, "Golfer R.", LONG_TURN_GOLFER)
    left = stream(service, "Golfer L.", left_hander)
    yield Club(service, right, left)
    service.stop()


@pytest.fixture(scope="session")
def club_context(browser, club):
    """One context for all pages on the club's service, so that scripts are compiled once."""
    with fresh_context(browser, club.service.address) as context:
        yield context


@pytest.fixture
def page(club_context, club):
    """A page on the club's service; afterwards it must have done nothing it must not do."""
    with watched_page(club_context, club.service.address) as (page, misdeeds):
        yield page
        assert misdeeds.requests > 0
        assert misdeeds.errors == []
        assert misdeeds.strangers == []


@pytest.fixture
def empty_page(browser, empty_service):
    """The same on a service without golfers and sessions."""
    address = empty_service.address
    with (
        fresh_context(browser, address) as context,
        watched_page(context, address) as (page, misdeeds),
    ):
        yield page
        assert misdeeds.errors == []
        assert misdeeds.strangers == []
