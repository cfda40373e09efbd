"""Sync checks in the store."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import ColumnElement, func, select

from server.errors import NotFoundError
from server.models import RangeSession, StoredSyncCheck
from server.store.database import Database


class SyncCheckStore:
    """Keeps what good sync checks found, and whether the collector took it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, check: StoredSyncCheck) -> int:
        """Keep a check; gives its id."""
        with self._database.write() as session:
            session.add(check)
            session.flush()
            return check.id

    def answered(self, check_id: int, *, taken: bool, from_s: float | None) -> None:
        """The collector's answer; the first one stands. from_s: session time by then, s."""
        with self._database.write() as session:
            row = session.get(StoredSyncCheck, check_id)
            if row is not None and row.applied is None:
                row.applied = taken
                row.applied_from_s = from_s if taken else None

    def of(self, session_id: str) -> list[StoredSyncCheck]:
        """Checks of a session in the order in which they were made. Raises NotFoundError."""
        with self._database.read() as session:
            if session.get(RangeSession, session_id) is None:
                raise NotFoundError("session", session_id)
        return self._checks(StoredSyncCheck.session_id == session_id)

    def unanswered(self, stream_ids: Collection[str]) -> list[StoredSyncCheck]:
        """Checks that correct one of these streams and have no answer yet."""
        return self._checks(
            StoredSyncCheck.upper_back_stream_id.in_(stream_ids), StoredSyncCheck.applied.is_(None)
        )

    def correcting(self, stream_id: str) -> list[StoredSyncCheck]:
        """Checks that correct this stream."""
        return self._checks(StoredSyncCheck.upper_back_stream_id == stream_id)

    def offsets_s(self, stream_ids: Collection[str]) -> dict[str, float]:
        """By how much the times of these streams are corrected, s; those that are not left out."""
        query = (
            select(StoredSyncCheck.upper_back_stream_id, func.sum(StoredSyncCheck.offset_s))
            .where(
                StoredSyncCheck.upper_back_stream_id.in_(stream_ids),
                StoredSyncCheck.applied.is_(True),
            )
            .group_by(StoredSyncCheck.upper_back_stream_id)
        )
        with self._database.read() as session:
            return {row[0]: row[1] for row in session.execute(query)}

    def _checks(self, *wanted: ColumnElement[bool]) -> list[StoredSyncCheck]:
        query = select(StoredSyncCheck).where(*wanted).order_by(StoredSyncCheck.id)
        with self._database.read() as session:
            return list(session.scalars(query))
