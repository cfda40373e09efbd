"""Stored swings as CSV: whose and when in front, then the columns of a recording's CSV."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from server.store import SwingRecord
from server.swing_csv import SwingRow, csv_lines

LEADING_COLUMNS = ("session_id", "session", "started_at", "golfer_id", "golfer")
"""started_at: ISO 8601, UTC; session time 0 of the times in the row."""


def stored_csv_lines(records: Iterable[SwingRecord]) -> Iterator[str]:
    """Lines of the table with their line ends, header first."""
    return csv_lines((_row(record) for record in records), LEADING_COLUMNS)


def _row(record: SwingRecord) -> SwingRow:
    session, golfer = record.session, record.golfer
    leading = (
        session.id,
        session.title,
        session.started_at.isoformat(),
        golfer.id if golfer else None,
        golfer.name if golfer else None,
    )
    return SwingRow.of(record.swing, leading)
