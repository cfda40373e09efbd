"""The live analysis of one session on a real store: late marks, restarts, poor calibrations."""

from __future__ import annotations

import dataclasses
import functools
from datetime import UTC, datetime

import msgspec
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from analysis.samples import Segment
from analysis.session import analyse_session
from sensors import wire
from sensors.faults import SensorFaults
from sensors.golfer_simulation import SHORT_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from server.clock import SystemClock
from server.live_session import LiveSession
from server.reanalyse import reanalyse, store_again
from server.settings import sqlite_url
from server.store import NewGolfer, NewSession, Store, incoming
from server.views import CalibrationMessage, SwingMessage
from tests.support.wire_line import STREAMS, simulated_messages

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
SWINGS = 2


def turned(*degrees):
    """Quaternion, scalar first, of three turns about x, y, z."""
    rotation = Rotation.from_euler("xyz", degrees, degrees=True)
    return tuple(rotation.as_quat(scalar_first=True))


@functools.cache
def simulated():
    """Batches and marks of a short session with sensors clipped on askew."""
    askew = {
        "pelvis": SensorFaults(mounting=turned(12.0, -20.0, 9.0)),
        "upper_back": SensorFaults(mounting=turned(-15.0, 10.0, -18.0)),
    }
    session = SimulatedRangeSession(PracticePlan(SWINGS), askew, 8, SHORT_TURN_GOLFER)
    messages = list(simulated_messages(session))
    batches = [m for m in messages if isinstance(m, wire.SampleBatch)]
    return batches, [m for m in messages if isinstance(m, wire.Mark)]


@pytest.fixture
def store(tmp_path):
    store = Store(sqlite_url(tmp_path / "t.db"))
    yield store
    store.close()


@pytest.fixture
def session_id(store):
    opened = store.sessions.open(NewSession("Morning", NOW))
    store.sessions.declare_streams(opened.id, STREAMS, NOW)
    return opened.id


@pytest.fixture
def said():
    return []


@pytest.fixture
def live(store, session_id, said):
    return LiveSession(store, session_id, said.append, SystemClock())


def commit(store, session_id, batches):
    store.raw.append([incoming(session_id, one) for one in batches])


def mark(store, session_id, marks):
    for one in marks:
        store.sessions.add_mark(session_id, one)


def advance(live):
    while live.advance():
        continue


def kept(store, session_id):
    return [record.swing for record in store.swings.of_session(session_id)]


def without_curves(swings):
    return [dataclasses.replace(swing, curves=None) for swing in swings]


def test_marks_that_come_late_correct_the_swings_found_before_them(store, session_id, live, said):
    batches, marks = simulated()
    commit(store, session_id, batches)
    advance(live)
    before = kept(store, session_id)
    assert before, "swings are found without a calibration too"
    mark(store, session_id, marks)
    live.finish()
    after = kept(store, session_id)
    assert after == without_curves(reanalyse(store, session_id))
    assert len(after) == SWINGS
    assert after[0].metrics["separation_top_deg"] != before[0].metrics["separation_top_deg"]
    published = {m.swing.number: m.swing for m in said if isinstance(m, SwingMessage)}
    assert [published[s.number].metrics for s in after] == [s.metrics for s in after]


def test_late_marks_and_marks_in_time_end_with_the_same_numbers(store, session_id, live, said):
    batches, marks = simulated()
    other = store.sessions.open(NewSession("In time", NOW))
    renamed = [of_other(stream) for stream in STREAMS]
    store.sessions.declare_streams(other.id, renamed, NOW)
    mark(store, other.id, marks)
    commit(store, other.id, [of_other(one) for one in batches])
    LiveSession(store, other.id, said.append, SystemClock()).finish()
    commit(store, session_id, batches)
    advance(live)
    mark(store, session_id, marks)
    live.finish()
    assert kept(store, session_id) == kept(store, other.id)


def of_other(message):
    """The same stream or batch of another session."""
    return msgspec.structs.replace(message, stream_id=message.stream_id + "-other")


@pytest.mark.parametrize("chunk", [31, 333])
def test_it_does_not_matter_in_how_many_goes_the_batches_come(store, session_id, live, chunk):
    batches, marks = simulated()
    mark(store, session_id, marks)
    for first in range(0, len(batches), chunk):
        commit(store, session_id, batches[first : first + chunk])
        live.advance()
    live.finish()
    whole = analyse_session(
        store.raw.samples(session_id, Segment.PELVIS),
        store.raw.samples(session_id, Segment.UPPER_BACK),
        store.swings.calibrations(session_id),
        store.golfers.facts(None),
    )
    assert kept(store, session_id) == without_curves(whole)


def test_a_restart_publishes_nothing_twice(store, session_id, live, said):
    batches, marks = simulated()
    mark(store, session_id, marks)
    commit(store, session_id, batches)
    live.finish()
    assert len([m for m in said if isinstance(m, SwingMessage)]) == SWINGS
    again = []
    LiveSession(store, session_id, again.append, SystemClock()).finish()
    assert not [m for m in again if isinstance(m, SwingMessage | CalibrationMessage)]
    assert len(store.swings.calibrations(session_id)) == 1


def test_a_calibration_that_cannot_be_read_is_said_once_and_spoils_nothing(
    store, session_id, live, said
):
    batches, _ = simulated()
    still = [
        wire.Mark(kind="stand", start_s=0.2, end_s=1.0),
        wire.Mark(kind="bow", start_s=1.2, end_s=2.0),
    ]
    mark(store, session_id, still)
    commit(store, session_id, batches)
    live.finish()
    (message,) = [m for m in said if isinstance(m, CalibrationMessage)]
    assert not message.calibrated
    assert "Repeat" in message.text
    assert store.swings.calibrations(session_id) == []
    assert len(kept(store, session_id)) == SWINGS
    assert all(
        "uncalibrated" in [flag.code for flag in swing.flags] for swing in kept(store, session_id)
    )


def test_a_mark_waits_until_both_sensors_have_come_so_far(store, session_id, live, said):
    batches, marks = simulated()
    mark(store, session_id, marks)
    end_s = max(one.end_s for one in marks)
    early = [b for b in batches if b.received_s < end_s and b.stream_id == "pelvis-1"]
    commit(store, session_id, [*early])
    advance(live)
    assert not [m for m in said if isinstance(m, CalibrationMessage)]
    commit(store, session_id, batches)
    advance(live)
    assert [m.calibrated for m in said if isinstance(m, CalibrationMessage)] == [True]


def test_swings_that_are_found_no_longer_are_taken_out_and_the_page_starts_over(
    store, session_id, live, said
):
    batches, marks = simulated()
    mark(store, session_id, marks)
    commit(store, session_id, batches)
    live.finish()
    extra = dataclasses.replace(kept(store, session_id)[-1], number=9)
    store.swings.put(session_id, extra)
    LiveSession(store, session_id, said.append, SystemClock()).finish()
    assert [swing.number for swing in kept(store, session_id)] == [1, 2]
    assert said[-1] is None


def test_each_swing_carries_the_clock_uncertainty_of_its_own_batches(store, session_id, live):
    batches, marks = simulated()
    mark(store, session_id, marks)
    rng = np.random.default_rng(1)
    unsure = [msgspec.structs.replace(b, time_u_s=float(rng.uniform(0, 0.02))) for b in batches]
    for first in range(0, len(unsure), 60):
        commit(store, session_id, unsure[first : first + 60])
        live.advance()
    live.finish()
    swings = kept(store, session_id)
    assert swings == without_curves(reanalyse(store, session_id))
    for record in store.swings.of_session(session_id):
        window = record.swing.window
        part = store.raw.samples(session_id, Segment.PELVIS, window.start_s, window.end_s)
        assert 0.0 < part.time_u_s < 0.02


def test_the_golfer_of_the_session_sets_the_signs(store):
    batches, marks = simulated()
    golfer = store.golfers.add(NewGolfer("Golfer A"), NOW)
    opened = store.sessions.open(NewSession("Morning", NOW, golfer.id))
    store.sessions.declare_streams(opened.id, STREAMS, NOW)
    mark(store, opened.id, marks)
    commit(store, opened.id, batches)
    swings = store_again(store, opened.id)
    assert len(swings) == SWINGS
    assert kept(store, opened.id) == without_curves(swings)
    assert all(swing.metrics["upper_back_turn_top_deg"] < 0 for swing in swings)


def test_on_postgresql_live_numbers_are_the_stored_ones_too(postgresql):
    batches, marks = simulated()
    store = Store(postgresql.new_database())
    opened = store.sessions.open(NewSession("Morning", NOW))
    store.sessions.declare_streams(opened.id, STREAMS, NOW)
    mark(store, opened.id, marks)
    commit(store, opened.id, batches)
    LiveSession(store, opened.id, lambda _message: None, SystemClock()).finish()
    swings = kept(store, opened.id)
    assert swings == without_curves(reanalyse(store, opened.id))
    assert len(swings) == SWINGS
    store.close()
