"""What lasts: on SQLite and on PostgreSQL alike."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.results import Calibration, Flag, GolferFacts, Handedness, Interval, Mounting, Swing
from analysis.samples import Segment
from sensors import wire
from server.errors import ConflictError, NotFoundError
from server.store import NewGolfer, NewSession, incoming
from server.store.raw import Timelines
from tests.support.wire_line import STREAMS, batch

NOW = datetime(2026, 5, 4, 9, 30, 15, 123456, tzinfo=UTC)


@pytest.fixture
def session_id(store):
    opened = store.sessions.open(NewSession("Morning", NOW))
    store.sessions.declare_streams(opened.id, STREAMS, NOW)
    return opened.id


def swing(number=1, **changes):
    values = {
        "number": number,
        "window": Interval(1.0 / 3.0, 4.1),
        "events": {"top_s": 2.0 / 3.0},
        "metrics": {"separation_top_deg": 0.1 + 0.2, "impact_s": None, "peak_order": "pelvis"},
        "uncertainty": {"separation_top_deg": 1e-17},
        "flags": (Flag("gap", "Samples are missing.", spoils=True),),
    }
    return Swing(**(values | changes))


def test_a_golfer_comes_back_as_added(store):
    new = NewGolfer("Golfer A", Handedness.LEFT, 1961, 1.76, 81.5)
    kept = store.golfers.get(store.golfers.add(new, NOW).id)
    assert (kept.name, kept.handedness, kept.birth_year) == ("Golfer A", "left", 1961)
    assert store.golfers.facts(kept.id) == GolferFacts(Handedness.LEFT, 1.76, 81.5)
    assert [golfer.id for golfer in store.golfers.all()] == [kept.id]


def test_an_unknown_golfer_is_said(store):
    with pytest.raises(NotFoundError, match="no golfer has the id 'x'"):
        store.golfers.get("x")
    with pytest.raises(NotFoundError, match="golfer"):
        store.sessions.open(NewSession("Morning", NOW, "x"))
    assert store.sessions.all() == []


def test_a_session_keeps_its_moments_in_utc_to_the_microsecond(store):
    zone_free = store.sessions.open(NewSession("Morning", NOW))
    assert store.sessions.get(zone_free.id).started_at == NOW
    assert store.sessions.get(zone_free.id).started_at.tzinfo == UTC
    ended = store.sessions.end(zone_free.id, NOW + timedelta(hours=1))
    assert ended.ended_at == NOW + timedelta(hours=1)
    assert not ended.open


def test_a_session_ends_once(store):
    opened = store.sessions.open(NewSession("Morning", NOW))
    store.sessions.end(opened.id, NOW + timedelta(hours=1))
    again = store.sessions.end(opened.id, NOW + timedelta(hours=2))
    assert again.ended_at == NOW + timedelta(hours=1)


def test_sessions_are_listed_newest_first_and_by_golfer(store):
    golfer = store.golfers.add(NewGolfer("Golfer A"), NOW)
    old = store.sessions.open(NewSession("Old", NOW - timedelta(days=1), golfer.id))
    new = store.sessions.open(NewSession("New", NOW))
    assert [s.id for s in store.sessions.all()] == [new.id, old.id]
    assert [s.id for s in store.sessions.all(golfer.id)] == [old.id]
    assert store.sessions.all(golfer.id)[0].golfer_name == "Golfer A"
    assert store.sessions.current() == new


def test_no_session_is_current_when_none_is_open(store):
    opened = store.sessions.open(NewSession("Morning", NOW))
    store.sessions.end(opened.id, NOW)
    assert store.sessions.current() is None


def test_batches_are_taken_in_order_and_once(store, session_id):
    def append(*sequences):
        return store.raw.append([incoming(session_id, batch(number)) for number in sequences])

    assert append(0, 1) == [1, 2]
    assert append(1, 2) == [2, 3], "the double is passed over, the next is taken"
    assert append(4) == [3], "a hole: the batch is not taken, the stream wants 3"
    assert store.raw.next_sequences(["pelvis-1", "upper-back-1"]) == {
        "pelvis-1": 3,
        "upper-back-1": 0,
    }
    assert [b.samples.gyro[0, 0] for b in store.raw.after(session_id, 0, 10)] == [0.0, 20.0, 40.0]


def test_a_group_with_a_batch_of_an_unknown_stream_leaves_nothing_behind(store, session_id):
    good, foreign = batch(0), batch(0, stream_id="nobody")
    with pytest.raises(NotFoundError, match=r"no stream has the id 'nobody'"):
        store.raw.append([incoming(session_id, good), incoming(session_id, foreign)])
    assert store.raw.next_sequences(["pelvis-1"]) == {"pelvis-1": 0}


def test_raw_bytes_come_back_as_they_came(store, session_id):
    rng = np.random.default_rng(3)
    time_s = np.cumsum(rng.uniform(0.001, 0.01, 50))
    gyro, accel = rng.normal(size=(50, 3)), rng.normal(size=(50, 3))
    arrays = wire.pack_arrays(time_s, gyro, accel)
    store.raw.append([incoming(session_id, batch(0, **arrays))])
    table = store.raw.samples(session_id, Segment.PELVIS)
    np.testing.assert_array_equal(table.time_s, time_s)
    np.testing.assert_array_equal(table.gyro, gyro.astype(np.float32))
    np.testing.assert_array_equal(table.accel, accel.astype(np.float32))
    assert len(store.raw.samples(session_id, Segment.UPPER_BACK)) == 0


def test_a_stretch_of_samples_is_half_open_and_crosses_batches(store, session_id):
    store.raw.append([incoming(session_id, batch(number)) for number in range(5)])
    part = store.raw.samples(session_id, Segment.PELVIS, 0.05, 0.25)
    assert part.time_s[0] == 0.05
    assert part.time_s[-1] == 49 / 200.0


def test_a_restarted_sensor_goes_on_after_the_samples_before_it(store, session_id):
    again = wire.Stream(stream_id="pelvis-2", segment="pelvis", sensor="test", rate_hz=200.0)
    store.sessions.declare_streams(session_id, [again], NOW)
    store.raw.append([incoming(session_id, batch(number)) for number in range(2)])
    late = batch(0, stream_id="pelvis-2", start_s=0.15)
    store.raw.append([incoming(session_id, late)])
    table = store.raw.samples(session_id, Segment.PELVIS)
    assert (np.diff(table.time_s) > 0).all()
    assert len(table) == 40 + 10, "ten samples overlap what was there"


def test_samples_are_of_the_kind_that_their_stream_states(store, session_id):
    """Another sensor in the middle of a session, one that averages."""
    other = wire.Stream(
        stream_id="pelvis-2", segment="pelvis", sensor="other", rate_hz=200.0, rate_sample="mean"
    )
    store.sessions.declare_streams(session_id, [other], NOW)
    store.raw.append([incoming(session_id, batch(number)) for number in range(3)])
    later = [batch(n, stream_id="pelvis-2", start_s=1.0) for n in range(2)]
    store.raw.append([incoming(session_id, one) for one in later])
    read = store.raw.after(session_id, 0, 100)
    kinds = [table.rate_sample.value for _, table in Timelines().joined(read)]
    assert kinds == ["instant", "mean"]
    for end_s, kind in ((1.0, "instant"), (1.01, "mean"), (0.0, "instant")):
        stretch = store.raw.samples(session_id, Segment.PELVIS, 0.0, end_s)
        assert stretch.rate_sample.value == kind


def test_a_stream_id_belongs_to_one_session_and_segment(store, session_id):
    other = store.sessions.open(NewSession("Other", NOW))
    with pytest.raises(ConflictError, match="stream id of its own"):
        store.sessions.declare_streams(other.id, STREAMS, NOW)
    assert store.sessions.streams(other.id) == []
    store.sessions.declare_streams(session_id, STREAMS, NOW)
    assert len(store.sessions.streams(session_id)) == 2


def test_the_same_mark_is_kept_once(store, session_id):
    mark = wire.Mark(kind="stand", start_s=1.0, end_s=4.0)
    first, again = (store.sessions.add_mark(session_id, mark) for _ in range(2))
    assert first.id == again.id
    assert [(m.kind, m.start_s, m.end_s) for m in store.sessions.marks(session_id)] == [
        ("stand", 1.0, 4.0)
    ]


def test_a_swing_comes_back_to_the_last_bit(store, session_id):
    assert store.swings.put(session_id, swing())
    assert store.swings.get(session_id, 1).swing == swing()
    assert store.sessions.get(session_id).swing_count == 1


def test_a_swing_that_is_kept_already_is_not_written_again(store, session_id):
    store.swings.put(session_id, swing())
    assert not store.swings.put(session_id, swing())
    changed = swing(metrics={"separation_top_deg": np.nextafter(0.1 + 0.2, 1.0)})
    assert store.swings.put(session_id, changed)
    assert store.swings.get(session_id, 1).swing == changed


def test_swings_come_in_order_and_the_last_ones_on_request(store, session_id):
    for number in (2, 1, 3):
        store.swings.put(session_id, swing(number))
    assert [r.swing.number for r in store.swings.of_session(session_id)] == [1, 2, 3]
    assert [r.swing.number for r in store.swings.of_session(session_id, last=2)] == [2, 3]
    assert store.swings.drop_after(session_id, 1) == 2
    assert [r.id for r in store.swings.of_session(session_id)] == [f"{session_id}-1"]


def test_swings_of_a_golfer_go_over_sessions(store):
    golfer = store.golfers.add(NewGolfer("Golfer A"), NOW)
    for day in (2, 1):
        opened = store.sessions.open(NewSession(f"{day}", NOW + timedelta(days=day), golfer.id))
        store.swings.put(opened.id, swing())
    assert [r.session.title for r in store.swings.of_golfer(golfer.id)] == ["1", "2"]
    assert store.swings.of_golfer(golfer.id)[0].golfer.name == "Golfer A"


def test_calibrations_come_back_in_the_order_of_their_times(store, session_id):
    marks = [
        store.sessions.add_mark(session_id, wire.Mark(kind=kind, start_s=start, end_s=start + 2))
        for kind, start in (("stand", 1.0), ("bow", 4.0))
    ]
    mounting = Mounting(np.array([0.5, -0.5, 0.5, 0.5]), 0.01, 0.02)
    flags = (Flag("calibration_skewed", "Repeat.", spoils=False),)
    later = Calibration(mounting, mounting, 1.0, calibrated=True, flags=flags)
    worn = Calibration(mounting, mounting)
    store.swings.add_calibration(session_id, later, (marks[0].id, marks[1].id))
    store.swings.add_calibration(session_id, worn)
    first, second = store.swings.calibrations(session_id)
    assert first.from_s == float("-inf")
    assert (second.from_s, second.calibrated, second.flags) == (1.0, True, flags)
    np.testing.assert_array_equal(second.pelvis.rotation, mounting.rotation)
    assert store.swings.calibrated_marks(session_id) == {(marks[0].id, marks[1].id), (None, None)}
    assert store.sessions.get(session_id).calibrated
