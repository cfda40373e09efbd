"""A session that is already over: in as a whole, in one transaction, or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from sqlalchemy.orm import Session

from analysis.results import Calibration, Swing
from sensors import wire
from server.errors import NotFoundError
from server.models import Golfer, Mark, RangeSession
from server.store.database import Database
from server.store.golfers import NewGolfer, golfer_row
from server.store.raw import incoming, insert_batches
from server.store.sessions import NewSession, SessionSummary, declare_stream, summary_of
from server.store.swings import calibration_row, swing_row

ROWS_AT_ONCE = 500
"""Batches in memory as rows."""


@dataclass(frozen=True, slots=True)
class WholeSession:
    """What a session holds. calibrations: each with the stand and bow it was read from.

    new_golfer: a golfer to be made for it, instead of the session's `golfer_id`.
    """

    session: NewSession
    ended_at: datetime
    streams: Sequence[wire.Stream]
    batches: Iterable[wire.SampleBatch]
    marks: Sequence[wire.Mark] = ()
    calibrations: Sequence[tuple[Calibration, wire.Mark, wire.Mark]] = ()
    swings: Sequence[Swing] = ()
    new_golfer: NewGolfer | None = None


class WholeSessionStore:
    """Keeps sessions that were recorded elsewhere."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, whole: WholeSession) -> SessionSummary:
        """Keep everything of a session in one transaction.

        Raises NotFoundError: unknown golfer; ConflictError: a stream id of another session;
        WireError: a batch that does not hold together. Nothing is then stored.
        """
        with self._database.write() as session:
            row = _session_row(session, whole)
            for stream in whole.streams:
                declare_stream(session, row.id, stream, row.started_at)
            session.flush()
            _insert_batches(session, row.id, whole.batches)
            marks = _add_marks(session, row.id, whole.marks)
            for calibration, stand, bow in whole.calibrations:
                ids = (marks[stand].id, marks[bow].id)
                session.add(calibration_row(row.id, calibration, ids))
            session.add_all(swing_row(row.id, swing) for swing in whole.swings)
            session.flush()
            return summary_of(session, row.id)


def _session_row(session: Session, whole: WholeSession) -> RangeSession:
    new, golfer_id = whole.session, whole.session.golfer_id
    if whole.new_golfer is not None:
        golfer = golfer_row(whole.new_golfer, whole.ended_at)
        session.add(golfer)
        session.flush()
        golfer_id = golfer.id
    elif golfer_id is not None and session.get(Golfer, golfer_id) is None:
        raise NotFoundError("golfer", golfer_id)
    row = RangeSession(
        golfer_id=golfer_id,
        title=new.title,
        started_at=new.started_at,
        ended_at=whole.ended_at,
        invented=new.invented,
    )
    session.add(row)
    session.flush()
    return row


def _insert_batches(session: Session, session_id: str, batches: Iterable[wire.SampleBatch]) -> None:
    remaining = iter(batches)
    while checked := [incoming(session_id, batch) for batch in islice(remaining, ROWS_AT_ONCE)]:
        insert_batches(session, checked)


def _add_marks(
    session: Session, session_id: str, marks: Sequence[wire.Mark]
) -> dict[wire.Mark, Mark]:
    rows = {
        mark: Mark(session_id=session_id, kind=mark.kind, start_s=mark.start_s, end_s=mark.end_s)
        for mark in marks
    }
    session.add_all(rows.values())
    session.flush()
    return rows
