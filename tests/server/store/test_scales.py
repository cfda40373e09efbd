"""Scale factors in the store: of a sensor, and which of them hold in a session."""

from __future__ import annotations

from datetime import UTC, datetime

import msgspec
import numpy as np

from analysis.scale_calibration import ScaleFactors
from sensors import wire
from server.models import StoredScaleSet
from server.store import NewSession, WholeSession, incoming
from tests.support.wire_line import batch

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
NONE = float("-inf")
A, B = (1.01, 0.99, 1.0), (1.002, 1.0, 0.998)
U = (0.0005, 0.0004, 0.0003)


def stream(stream_id, sensor="A", address=None):
    return wire.Stream(
        stream_id=stream_id, segment="pelvis", sensor=sensor, rate_hz=200.0, address=address
    )


def streams(store, *of_session):
    """A session in which these streams have sent a batch each, one after another."""
    session = store.sessions.open(NewSession("Morning", NOW))
    for number, one in enumerate(of_session):
        declare(store, session.id, one, at_s=10.0 * number)
    return session.id


def declare(store, session_id, one, at_s):
    store.sessions.declare_streams(session_id, (one,), NOW)
    store.raw.append([incoming(session_id, batch(0, one.stream_id, start_s=at_s))])


def find(store, stream_id, factors, sensor="A", end_s=5.0):
    """A check in a stream that ends with these factors."""
    last = StoredScaleSet(stream_id=stream_id, start_s=0.0, end_s=end_s, turns=3, axis="z")
    store.scales.add(last, sensor, ScaleFactors(np.array(factors), np.array(U)), NOW)


def held(store, session_id):
    return [(one.from_s, one.factors) for one in store.scales.of_session(session_id)]


def test_factors_hold_from_their_check_on_and_in_later_sessions_from_the_start(store):
    first = streams(store, stream("s1"))
    assert held(store, first) == []
    find(store, "s1", A)
    assert held(store, first) == [(5.0, A)]
    later = streams(store, stream("s2"))
    assert held(store, later) == [(NONE, A)]
    assert store.scales.of_session(later)[0].u == U


def test_a_later_check_changes_no_session_before_it(store):
    find(store, streams(store, stream("s1")) and "s1", A)
    between = streams(store, stream("s2"))
    find(store, streams(store, stream("s3")) and "s3", B)
    assert held(store, between) == [(NONE, A)]
    assert held(store, streams(store, stream("s4"))) == [(NONE, B)]


def test_a_sensor_that_comes_back_goes_on_with_its_factors(store):
    session = streams(store, stream("s1"))
    find(store, "s1", A)
    declare(store, session, stream("s2"), at_s=20.0)
    declare(store, session, stream("s3"), at_s=30.0)
    assert held(store, session) == [(5.0, A)]


def test_another_sensor_in_its_place_ends_them(store):
    session = streams(store, stream("s1"))
    find(store, "s1", A)
    declare(store, session, stream("s2", sensor="other"), at_s=20.0)
    declare(store, session, stream("s3"), at_s=30.0)
    assert held(store, session) == [(5.0, A), (20.0, None), (30.0, A)]


def test_a_second_check_in_a_session_takes_over_at_its_own_time(store):
    session = streams(store, stream("s1"))
    find(store, "s1", A, end_s=5.0)
    find(store, "s1", B, end_s=8.0)
    assert held(store, session) == [(5.0, A), (8.0, B)]


def test_a_stream_declared_once_more_gets_nothing_twice(store):
    find(store, streams(store, stream("s1")) and "s1", A)
    session = streams(store, stream("s2"))
    store.sessions.declare_streams(session, (stream("s2"),), NOW)
    assert held(store, session) == [(NONE, A)]


def test_sensors_of_one_name_are_told_apart_by_their_address(store):
    find(store, streams(store, stream("s1", address="01")) and "s1", A, sensor="01")
    assert held(store, streams(store, stream("s2", address="02"))) == []
    assert held(store, streams(store, stream("s3", sensor="new name", address="01"))) == [(NONE, A)]


def test_a_recording_that_is_imported_stays_as_it_was_recorded(store):
    find(store, streams(store, stream("s1")) and "s1", A)
    batches = [msgspec.structs.replace(batch(0), stream_id="s2")]
    new = NewSession("Recording", NOW)
    whole = WholeSession(session=new, ended_at=NOW, streams=[stream("s2")], batches=batches)
    assert held(store, store.whole_sessions.add(whole).id) == []


def test_the_last_set_about_each_axis_of_a_sensor_counts(store):
    session = streams(store, stream("s1"), stream("s2", sensor="other"))
    for stream_id, axis, end_s in (("s1", "x", 3.0), ("s2", "y", 4.0), ("s1", "x", 6.0)):
        turned = StoredScaleSet(stream_id=stream_id, start_s=0.0, end_s=end_s, turns=3, axis=axis)
        store.scales.add(turned, "A", None, NOW)
    found = store.scales.sets(session, "A")
    assert [(axis, one.end_s, segment) for axis, (one, segment) in found.items()] == [
        ("x", 6.0, "pelvis")
    ]
    assert held(store, session) == []
