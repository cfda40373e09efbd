"""Sync checks in the store: kept once, answered once, added up for a stream."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from server.errors import NotFoundError
from server.models import StoredSyncCheck
from server.store import NewSession
from tests.support.wire_line import STREAMS

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
SECOND = STREAMS[1].stream_id


@pytest.fixture
def session_id(store):
    session = store.sessions.open(NewSession("Morning", NOW)).id
    store.sessions.declare_streams(session, STREAMS, NOW)
    return session


def add(store, session_id, offset_s):
    return store.sync_checks.add(
        StoredSyncCheck(
            session_id=session_id,
            pelvis_stream_id=STREAMS[0].stream_id,
            upper_back_stream_id=SECOND,
            start_s=1.0,
            end_s=7.0,
            offset_s=offset_s,
            u_s=0.0002,
            correlation=0.999,
        )
    )


def test_a_check_waits_for_its_answer_and_the_first_one_stands(store, session_id):
    check = add(store, session_id, -0.012)
    assert [one.id for one in store.sync_checks.unanswered([SECOND, "other"])] == [check]
    assert store.sync_checks.unanswered(["other"]) == []
    assert store.sync_checks.offsets_s([SECOND]) == {}
    store.sync_checks.answered(check, taken=True, from_s=8.0)
    store.sync_checks.answered(check, taken=False, from_s=9.0)
    assert store.sync_checks.unanswered([SECOND]) == []
    (kept,) = store.sync_checks.of(session_id)
    assert (kept.applied, kept.applied_from_s, kept.offset_s) == (True, 8.0, -0.012)


def test_only_what_was_taken_adds_up(store, session_id):
    for offset_s, taken in ((-0.012, True), (0.004, False), (-0.001, True)):
        store.sync_checks.answered(add(store, session_id, offset_s), taken=taken, from_s=8.0)
    assert store.sync_checks.offsets_s([SECOND]) == {SECOND: pytest.approx(-0.013)}
    assert [one.applied for one in store.sync_checks.correcting(SECOND)] == [True, False, True]


def test_a_session_that_is_not_there_has_no_checks(store):
    with pytest.raises(NotFoundError):
        store.sync_checks.of("0123456789ab")
