"""A session that is already over: in as a whole, in one transaction, or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from analysis.results import Calibration, Swing
from sensors import wire
from server.errors import NotFoundError
from server.models import Golfer, Mark, RangeSession
from server.store.database import Database
from server.store.raw import incoming, insert_batches
from server.store.sessions import NewSession, SessionSummary, declare_stream, summary_of
from server.store.swings import calibration_row, swing_row


@dataclass(frozen=True, slots=True)
class WholeSession:
    """What a session holds. calibrations: each with the stand and bow it was read from."""

    session: NewSession
    ended_at: datetime
    streams: Sequence[wire.Stream]
    batches: Iterable[wire.SampleBatch]
    marks: Sequence[wire.Mark] = ()
    calibrations: Sequence[tuple[Calibration, wire.Mark, wire.Mark]] = ()
    swings: Sequence[Swing] = ()


class WholeSessionStore:
    """Keeps sessions that were recorded elsewhere."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, whole: WholeSession) -> SessionSummary:
        """Keep everything of a session in one transaction.

        Raises NotFoundError: unknown golfer; ConflictError: a stream id of another session;
        WireError: a batch that does not hold together. Nothing is then stored.
        """
        new = whole.session
        with self._database.write() as session:
            if new.golfer_id is not None and session.get(Golfer, new.golfer_id) is None:
                raise NotFoundError("golfer", new.golfer_id)
            row = RangeSession(
                golfer_id=new.golfer_id,
                title=new.title,
                started_at=new.started_at,
                ended_at=whole.ended_at,
                invented=new.invented,
            )
            session.add(row)
            session.flush()
            for stream in whole.streams:
                declare_stream(session, row.id, stream, new.started_at)
            session.flush()
            insert_batches(session, [incoming(row.id, batch) for batch in whole.batches])
            marks = {
                mark: Mark(
                    session_id=row.id, kind=mark.kind, start_s=mark.start_s, end_s=mark.end_s
                )
                for mark in whole.marks
            }
            session.add_all(marks.values())
            session.flush()
            for calibration, stand, bow in whole.calibrations:
                ids = (marks[stand].id, marks[bow].id)
                session.add(calibration_row(row.id, calibration, ids))
            session.add_all(swing_row(row.id, swing) for swing in whole.swings)
            session.flush()
            return summary_of(session, row.id)
