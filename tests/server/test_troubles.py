"""What went wrong with a sensor is kept with its session and given in plain words."""

from __future__ import annotations

import numpy as np
import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import inspect, text

from sensors import wire
from server.clock import SystemClock
from server.errors import StoreError
from server.settings import sqlite_url
from server.store import Store
from server.store.database import MIGRATIONS, _checked_url, _engine
from tests.support.running_service import running
from tests.support.wire_line import batch, line_to


@pytest.fixture
async def line(live_service):
    async with line_to(live_service.address) as line:
        yield line


def report(state: str, at_s: float, stream_id: str = "pelvis-1") -> wire.StreamReport:
    return wire.StreamReport(stream_id=stream_id, state=state, at_s=at_s, rate_hz=200.0, lost=0)


async def troubles(service, session_id: str) -> list[dict]:
    answer = await service.http.get(f"/api/sessions/{session_id}/troubles")
    return answer.raise_for_status().json()


def facts(found: list[dict]) -> list[tuple]:
    return [
        (one["kind"], one["segment"], round(one["start_s"], 3), one["end_s"], one["lost"])
        for one in found
    ]


async def test_silence_loss_and_gap_are_read_off_the_batches(live_service, line):
    """20 samples at 200 Hz end 0.095 s after they begin."""
    session = (await line.hello()).session
    await line.send_all(
        [
            batch(0),
            batch(1, lost_before=3),
            batch(2, start_s=4.0),
            batch(3, start_s=4.3),
            batch(4, start_s=4.3),
        ]
    )
    found = await troubles(live_service, session)
    assert facts(found) == [
        ("lost", "pelvis", 0.095, 0.1, 3),
        ("silent", "pelvis", 0.195, 4.2, 0),
        ("gap", "pelvis", 4.295, 4.6, 0),
    ]
    assert [one["text"] for one in found] == [
        "Pelvis sensor lost 3 samples",
        "Pelvis sensor silent for 4.0 s",
        "Pelvis sensor left a gap of 0.30 s",
    ]


async def test_a_batch_that_comes_twice_is_one_trouble(live_service, line):
    session = (await line.hello()).session
    await line.send_all([batch(0), batch(1, lost_before=7), batch(1, lost_before=7)])
    assert [one["lost"] for one in await troubles(live_service, session)] == [7]


async def test_losses_that_follow_each_other_are_one_line(live_service, line):
    session = (await line.hello()).session
    await line.send_all([batch(n, lost_before=int(n % 2)) for n in range(60)])
    (one,) = await troubles(live_service, session)
    assert (one["kind"], one["lost"], one["end_s"]) == ("lost", 30, 5.9)


async def test_a_sensor_that_does_not_come_back_is_silent_to_the_end(live_service, line):
    session = (await line.hello()).session
    await line.send_all([batch(0), batch(0, "upper-back-1")])
    await line.send(report("silent", 1.2), report("lost", 2.0), wire.Finish())
    await line.socket.wait_closed()
    (one,) = await troubles(live_service, session)
    assert (one["start_s"], one["end_s"]) == (0.095, None)
    assert one["text"] == "Pelvis sensor silent to the end"


async def test_a_collector_that_died_leaves_its_sensors_silent_to_the_end(settings, line_clock):
    async with running(settings, line_clock) as service:
        async with line_to(service.address) as line:
            session = (await line.hello()).session
            await line.send_all([batch(0), batch(0, "upper-back-1")])
        line_clock.ahead_s += 5.0
        await service.http.post(f"/api/sessions/{session}/close")
        assert facts(await troubles(service, session)) == [
            ("silent", "pelvis", 0.095, None, 0),
            ("silent", "upper_back", 0.095, None, 0),
        ]
        async with line_to(service.address) as line:
            await line.hello(session=session)
            await line.send_all([batch(1), batch(1, "upper-back-1")])
        assert await troubles(service, session) == [], "what was only late was no silence"


async def test_a_session_ended_while_both_send_has_no_silence(live_service, line):
    session = (await line.hello()).session
    await line.send_all([batch(0), batch(0, "upper-back-1")])
    await live_service.http.post(f"/api/sessions/{session}/close")
    assert await troubles(live_service, session) == []


async def test_a_sensor_that_sent_nothing_when_the_session_was_ended_was_silent(
    settings, line_clock
):
    async with running(settings, line_clock) as service, line_to(service.address) as line:
        session = (await line.hello()).session
        await line.send_all([batch(0), batch(0, "upper-back-1")])
        line_clock.ahead_s += 5.0
        await line.send_all([batch(1)])
        await service.http.post(f"/api/sessions/{session}/close")
        assert facts(await troubles(service, session)) == [("silent", "upper_back", 0.095, None, 0)]


class AheadClock(SystemClock):
    """The machine's clock, moved on by hand."""

    ahead_s = 0.0

    def monotonic(self):
        return super().monotonic() + self.ahead_s


@pytest.fixture
def line_clock():
    return AheadClock()


async def test_a_silence_ends_with_the_sample_that_ends_it(live_service, line):
    session = (await line.hello()).session
    await line.send_all([batch(0)])
    await line.send(report("silent", 1.2))
    await line.send_all([batch(1, start_s=4.0)])
    assert facts(await troubles(live_service, session)) == [("silent", "pelvis", 0.095, 4.1, 0)]


async def test_samples_that_were_only_late_were_no_silence(live_service, line):
    session = (await line.hello()).session
    await line.send_all([batch(0)])
    await line.send(report("silent", 1.2))
    await line.send_all([batch(1)])
    assert await troubles(live_service, session) == []


async def test_slowness_lasts_from_report_to_report(live_service, line):
    session = (await line.hello()).session
    for state, at_s in (("slow", 3.0), ("slow", 4.0), ("streaming", 9.0)):
        await line.send(report(state, at_s))
    await line.send_all([batch(0)])
    assert facts(await troubles(live_service, session)) == [("slow", "pelvis", 3.0, 9.0, 0)]


async def test_sensors_worn_the_wrong_way_round_are_kept_once(live_service, line):
    session = (await line.hello()).session
    for number in range(10):
        for stream_id, fast in (("pelvis-1", 12.0), ("upper-back-1", 6.0)):
            rate = fast if number % 2 == 0 else 0.0
            arrays = wire.pack_arrays(
                number + np.arange(20) / 200.0, np.full((20, 3), rate), np.ones((20, 3))
            )
            await line.send_all([batch(number, stream_id, **arrays)])
    found = [o for o in await troubles(live_service, session) if o["kind"] == "swapped"]
    assert [(one["segment"], one["text"]) for one in found] == [
        (None, "The sensors seem to be worn the wrong way round")
    ]
    board = live_service.parts.status(session)
    assert all(view.swapped for view in board.streams(live_service.parts.clock.monotonic()))


async def test_a_session_that_is_not_there_has_no_troubles(live_service):
    answer = await live_service.http.get("/api/sessions/0123456789ab/troubles")
    assert answer.status_code == 404


async def test_troubles_outlive_the_service(settings):
    async with running(settings) as service, line_to(service.address) as line:
        session = (await line.hello()).session
        await line.send_all([batch(0), batch(1, lost_before=3)])
    async with running(settings) as service:
        assert [one["lost"] for one in await troubles(service, session)] == [3]


def test_a_database_of_the_version_before_keeps_all_and_gets_the_table(database_url):
    engine = _engine(_checked_url(database_url))
    config = Config()
    config.set_main_option("script_location", MIGRATIONS.as_posix())
    with engine.connect() as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        assert "troubles" not in inspect(connection).get_table_names()
        connection.execute(
            text(
                "INSERT INTO sessions (id, title, started_at, invented) "
                "VALUES ('0123456789ab', 'Before', '2026-01-01 00:00:00+00:00', false)"
            )
        )
    engine.dispose()
    store = Store(database_url)
    assert [one.title for one in store.sessions.all()] == ["Before"]
    assert store.troubles.of("0123456789ab") == []
    store.close()


def test_a_damaged_database_is_said_and_not_written_to(tmp_path):
    """A page in the middle overwritten, as a failing disk does."""
    path = tmp_path / "t.db"
    Store(sqlite_url(path)).close()
    data = bytearray(path.read_bytes())
    data[:4096] = data[:100] + b"\xa5" * 3996
    path.write_bytes(data)
    with pytest.raises(StoreError, match=r"t\.db: cannot be opened as a database"):
        Store(sqlite_url(path))
    assert path.read_bytes() == bytes(data)


def test_a_later_version_is_left_as_it_is(tmp_path):
    path = tmp_path / "t.db"
    store = Store(sqlite_url(path))
    with store._database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    store.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="later version of torsolog; install that version"):
        Store(sqlite_url(path))
    assert path.read_bytes() == before
