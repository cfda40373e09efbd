"""What went wrong with the sensors, kept with the session.

Silences, gaps and losses are read off the batches themselves and written in the transaction that
stores them, so they are as exact and as lasting as the samples: a time without collector or
service is none of them if its samples came later. Slowness, a sensor that does not come back and
sensors worn the wrong way round are what the collector reports or the service sees.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from sensors import wire
from sensors.stream_monitor import SILENT_S
from server.errors import NotFoundError
from server.models import RangeSession, RawBatch, SensorStream, Trouble
from server.store.database import Database

GAP_S: Final = 0.1
"""So long without a sample is a gap also where the sensor does not count; 10 to 20 samples."""
ONE_TROUBLE_S: Final = 10.0
"""Losses of a sensor that follow each other within this are kept as one stretch."""
_AWAY: Final = frozenset({"silent", "lost"})


class TroubleStore:
    """Keeps and gives the troubles of sessions."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, session_id: str) -> list[Trouble]:
        """Troubles of a session in order of time. Raises NotFoundError."""
        query = (
            select(Trouble)
            .where(Trouble.session_id == session_id)
            .order_by(Trouble.start_s, Trouble.id)
        )
        with self._database.read() as session:
            if session.get(RangeSession, session_id) is None:
                raise NotFoundError("session", session_id)
            return list(session.scalars(query))

    def reported(
        self, session_id: str, segment: wire.SegmentName, report: wire.StreamReport
    ) -> None:
        """A sensor's state has changed: what it is now begins, what it was ends."""
        with self._database.write() as session:
            lasting = {row.kind: row for row in _lasting(session, session_id, segment)}
            slow = lasting.get("slow")
            if slow is not None and report.state != "slow":
                slow.end_s = max(slow.start_s, report.at_s)
            elif slow is None and report.state == "slow":
                session.add(_trouble(session_id, segment, "slow", report.at_s))
            if report.state in _AWAY and "silent" not in lasting:
                last_s = _last_sample_s(session, session_id, segment)
                start_s = report.at_s if last_s is None else last_s
                session.add(_trouble(session_id, segment, "silent", start_s))

    def silent_to_end(self, session_id: str, but: Collection[str]) -> None:
        """The session ends while sensors of it, all `but` those of some segments, send nothing."""
        named = select(SensorStream.segment).where(SensorStream.session_id == session_id)
        with self._database.write() as session:
            for segment in sorted(set(session.scalars(named)) - set(but)):
                lasting = _lasting(session, session_id, segment)
                last_s = _last_sample_s(session, session_id, segment)
                if last_s is not None and not any(row.kind == "silent" for row in lasting):
                    session.add(_trouble(session_id, segment, "silent", last_s))

    def swapped(self, session_id: str, at_s: float) -> None:
        """The sensors seem to be worn the wrong way round; kept once a session."""
        query = select(Trouble.id).where(
            Trouble.session_id == session_id, Trouble.kind == "swapped"
        )
        with self._database.write() as session:
            if session.scalars(query).first() is None:
                session.add(_trouble(session_id, None, "swapped", at_s))


def note_gaps(
    session: Session, taken: Sequence[tuple[str, wire.SampleBatch, float, float]]
) -> None:
    """Write what is missing before batches that are about to be stored.

    taken: (session id, batch, first and last sample's session time), in order of their commit.
    Raises NotFoundError for a batch of a stream that was not declared.
    """
    ids = {batch.stream_id for _, batch, _, _ in taken}
    named = select(SensorStream.id, SensorStream.segment).where(SensorStream.id.in_(ids))
    segments = {row.id: row.segment for row in session.execute(named)}
    last: dict[tuple[str, str], float | None] = {}
    for session_id, batch, start_s, end_s in taken:
        segment = segments.get(batch.stream_id)
        if segment is None:
            raise NotFoundError("stream", batch.stream_id)
        key = (session_id, segment)
        if key not in last:
            last[key] = _last_sample_s(session, session_id, segment)
            _end_silence(session, key, last[key], start_s)
        _note_gap(session, key, last[key], start_s, batch.lost_before)
        before_s = last[key]
        last[key] = end_s if before_s is None else max(before_s, end_s)


def _end_silence(
    session: Session, key: tuple[str, str], last_s: float | None, start_s: float
) -> None:
    """A sensor said to be silent has sent: what its samples say holds from now on."""
    for row in _lasting(session, *key):
        if row.kind != "silent":
            continue
        if last_s is None:
            row.end_s = max(row.start_s, start_s)
        else:
            session.delete(row)
    session.flush()


def _note_gap(
    session: Session, key: tuple[str, str], last_s: float | None, start_s: float, lost: int
) -> None:
    from_s = start_s if last_s is None else min(last_s, start_s)
    if start_s - from_s > SILENT_S:
        kind = "silent"
    elif lost > 0:
        kind = "lost"
    elif start_s - from_s > GAP_S:
        kind = "gap"
    else:
        return
    before = _before(session, key, from_s) if kind == "lost" else None
    if before is None:
        row = _trouble(*key, kind, from_s)
        session.add(row)
    else:
        row = before
    row.end_s = start_s
    row.lost += lost
    session.flush()


def _before(session: Session, key: tuple[str, str], from_s: float) -> Trouble | None:
    query = select(Trouble).where(
        Trouble.session_id == key[0],
        Trouble.segment == key[1],
        Trouble.kind == "lost",
        Trouble.end_s >= from_s - ONE_TROUBLE_S,
    )
    return session.scalars(query.limit(1)).first()


def _lasting(session: Session, session_id: str, segment: str) -> list[Trouble]:
    query = select(Trouble).where(
        Trouble.session_id == session_id, Trouble.segment == segment, Trouble.end_s.is_(None)
    )
    return list(session.scalars(query))


def _last_sample_s(session: Session, session_id: str, segment: str) -> float | None:
    """Session time of the newest stored sample of a segment."""
    query = (
        select(RawBatch.end_s)
        .join(SensorStream, SensorStream.id == RawBatch.stream_id)
        .where(RawBatch.session_id == session_id, SensorStream.segment == segment)
        .order_by(RawBatch.id.desc())
    )
    return session.scalars(query.limit(1)).first()


def _trouble(session_id: str, segment: str | None, kind: str, start_s: float) -> Trouble:
    return Trouble(
        session_id=session_id, segment=segment, kind=kind, start_s=start_s, end_s=None, lost=0
    )
