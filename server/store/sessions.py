"""Range sessions, their streams and marks in the store."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, Select, delete, exists, func, or_, select
from sqlalchemy.orm import Session

from sensors import wire
from server.errors import ConflictError, NotFoundError
from server.models import Golfer, Mark, RangeSession, SensorStream, StoredCalibration, StoredSwing
from server.store.database import Database
from server.store.scales import link_known_scale


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """A session as lists show it. `calibrated`: a mounting calibration holds in it."""

    id: str
    golfer_id: str | None
    golfer_name: str | None
    title: str
    started_at: datetime
    ended_at: datetime | None
    invented: bool
    swing_count: int
    calibrated: bool

    @property
    def open(self) -> bool:
        """Whether it goes on."""
        return self.ended_at is None


@dataclass(frozen=True, slots=True)
class NewSession:
    """A session to be opened. `started_at` is session time 0."""

    title: str
    started_at: datetime
    golfer_id: str | None = None
    invented: bool = False


class SessionStore:
    """Opens, finds and ends sessions; declares their streams; keeps their marks."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def open(self, new: NewSession) -> SessionSummary:
        """Open a session. Raises NotFoundError for an unknown golfer."""
        row = RangeSession(
            golfer_id=new.golfer_id,
            title=new.title,
            started_at=new.started_at,
            ended_at=None,
            invented=new.invented,
        )
        with self._database.write() as session:
            if new.golfer_id is not None and session.get(Golfer, new.golfer_id) is None:
                raise NotFoundError("golfer", new.golfer_id)
            session.add(row)
            session.flush()
            return summary_of(session, row.id)

    def get(self, session_id: str) -> SessionSummary:
        """The session with this id. Raises NotFoundError."""
        with self._database.read() as session:
            return summary_of(session, session_id)

    def all(self, golfer_id: str | None = None) -> list[SessionSummary]:
        """Sessions, newest first, of one golfer or of all."""
        wanted = [] if golfer_id is None else [RangeSession.golfer_id == golfer_id]
        with self._database.read() as session:
            return _summaries(session, *wanted)

    def open_ones(self) -> list[SessionSummary]:
        """Sessions that have not ended, newest first."""
        with self._database.read() as session:
            return _summaries(session, RangeSession.ended_at.is_(None))

    def current(self) -> SessionSummary | None:
        """The open session that started last; None: none is open."""
        found = self.open_ones()
        return found[0] if found else None

    def end(self, session_id: str, ended_at: datetime) -> SessionSummary:
        """End a session; one that has ended keeps its end. Raises NotFoundError."""
        with self._database.write() as session:
            row = session.get(RangeSession, session_id)
            if row is None:
                raise NotFoundError("session", session_id)
            if row.ended_at is None:
                row.ended_at = max(ended_at, row.started_at)
            session.flush()
            return summary_of(session, session_id)

    def take_back(self, session_id: str, ended_at: datetime) -> SessionSummary:
        """Delete a session that was just opened, for nothing came of it; gives its last state.

        Raises NotFoundError. One that holds something already is only ended.
        """
        summary = self.end(session_id, ended_at)
        with self._database.write() as session:
            of_it = [
                exists().where(table.session_id == session_id) for table in (SensorStream, Mark)
            ]
            if not session.scalar(select(or_(*of_it))):
                session.execute(delete(RangeSession).where(RangeSession.id == session_id))
        return summary

    def declare_streams(
        self, session_id: str, streams: Sequence[wire.Stream], declared_at: datetime
    ) -> list[SensorStream]:
        """Make the streams known; one that is known already stays as it is.

        What is known of a sensor's scale holds for a new stream of it.
        Raises ConflictError: a stream of this id belongs to another session or segment.
        """
        with self._database.write() as session:
            ids = [stream.stream_id for stream in streams]
            new = [one for one in ids if session.get(SensorStream, one) is None]
            rows = [declare_stream(session, session_id, stream, declared_at) for stream in streams]
            for row in rows:
                if row.id in new:
                    link_known_scale(session, row)
            return rows

    def session_of(self, stream_ids: Iterable[str]) -> str | None:
        """The session in which one of these streams was declared; None: they are all new."""
        query = select(SensorStream.session_id).where(SensorStream.id.in_(list(stream_ids)))
        with self._database.read() as session:
            return session.scalars(query.limit(1)).first()

    def streams(self, session_id: str) -> list[SensorStream]:
        """Streams of a session in the order in which they were declared."""
        query = (
            select(SensorStream)
            .where(SensorStream.session_id == session_id)
            .order_by(SensorStream.declared_at, SensorStream.id)
        )
        with self._database.read() as session:
            return list(session.scalars(query))

    def add_mark(self, session_id: str, mark: wire.Mark) -> Mark:
        """Keep a mark; the same mark once more gives the one that is there."""
        query = select(Mark).where(
            Mark.session_id == session_id,
            Mark.kind == mark.kind,
            Mark.start_s == mark.start_s,
            Mark.end_s == mark.end_s,
        )
        with self._database.write() as session:
            if session.get(RangeSession, session_id) is None:
                raise NotFoundError("session", session_id)
            row = session.scalars(query).first()
            if row is None:
                row = Mark(
                    session_id=session_id,
                    kind=mark.kind,
                    start_s=mark.start_s,
                    end_s=mark.end_s,
                )
                session.add(row)
            return row

    def marks(self, session_id: str) -> list[Mark]:
        """Marks of a session in the order in which they came."""
        query = select(Mark).where(Mark.session_id == session_id).order_by(Mark.id)
        with self._database.read() as session:
            return list(session.scalars(query))


def declare_stream(
    session: Session, session_id: str, stream: wire.Stream, declared_at: datetime
) -> SensorStream:
    """Make a stream known in a transaction; see `SessionStore.declare_streams`."""
    row = session.get(SensorStream, stream.stream_id)
    if row is None:
        row = SensorStream(
            id=stream.stream_id,
            session_id=session_id,
            segment=stream.segment,
            sensor=stream.sensor,
            address=stream.address,
            rate_hz=stream.rate_hz,
            gyro_range_dps=stream.gyro_range_dps,
            accel_range_g=stream.accel_range_g,
            tick_s=stream.tick_s,
            rate_sample=stream.rate_sample,
            fixing=stream.fixing,
            declared_at=declared_at,
        )
        session.add(row)
    elif (row.session_id, row.segment) != (session_id, stream.segment):
        raise ConflictError(
            f"stream {stream.stream_id}: belongs to the {row.segment} of session "
            f"{row.session_id}; every start of a sensor needs a stream id of its own"
        )
    return row


def _summary_query() -> Select[RangeSession, str | None, int, bool]:
    swings = (
        select(func.count())
        .select_from(StoredSwing)
        .where(StoredSwing.session_id == RangeSession.id)
        .scalar_subquery()
    )
    calibrated = exists().where(
        StoredCalibration.session_id == RangeSession.id, StoredCalibration.calibrated
    )
    return (
        select(RangeSession, Golfer.name, swings, calibrated)
        .outerjoin(Golfer, Golfer.id == RangeSession.golfer_id)
        .order_by(RangeSession.started_at.desc(), RangeSession.id)
    )


def _summaries(session: Session, *wanted: ColumnElement[bool]) -> list[SessionSummary]:
    return [
        SessionSummary(
            id=row.id,
            golfer_id=row.golfer_id,
            golfer_name=golfer_name,
            title=row.title,
            started_at=row.started_at,
            ended_at=row.ended_at,
            invented=row.invented,
            swing_count=swing_count,
            calibrated=calibrated,
        )
        for row, golfer_name, swing_count, calibrated in session.execute(
            _summary_query().where(*wanted)
        )
    ]


def summary_of(session: Session, session_id: str) -> SessionSummary:
    """A session as the transaction sees it. Raises NotFoundError."""
    found = _summaries(session, RangeSession.id == session_id)
    if not found:
        raise NotFoundError("session", session_id)
    return found[0]
