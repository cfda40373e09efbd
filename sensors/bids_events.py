"""Stretches with a meaning in a recording: events.tsv, trial types `stand`, `bow` and `sync`."""

from __future__ import annotations

from typing import Final, cast, get_args

from sensors.bids_files import RecordingFiles, sidecars
from sensors.bids_text import TextTable, read_table
from sensors.errors import RecordingError
from sensors.wire import Mark, MarkKind

MAX_EVENTS: Final = 100_000
_KINDS: Final = get_args(MarkKind)


def read_marks(files: RecordingFiles, start_s: float, end_s: float) -> tuple[Mark, ...]:
    """Marks of a recording whose samples lie from start_s to end_s, in order of time.

    Onsets are s on the time line of the LATENCY channel. Events of other kinds are left alone.
    Raises RecordingError: columns missing, text in numbers, a mark without a length or outside
    the recording.
    """
    paths = {
        path: None
        for motion in files.motion.values()
        for path in sidecars(files, motion, "events.tsv")
    }
    marks: dict[Mark, None] = {}
    for path in paths:
        table = read_table(path)
        if len(table.rows) > MAX_EVENTS:
            raise RecordingError(f"lists more than {MAX_EVENTS} events", path)
        table.require("onset", "duration")
        marks |= dict.fromkeys(_marks(table, start_s, end_s))
    return tuple(sorted(marks, key=lambda mark: (mark.start_s, mark.end_s)))


def _marks(table: TextTable, start_s: float, end_s: float) -> list[Mark]:
    found = []
    for row, cells in enumerate(table.rows):
        kind = cells.get("trial_type", "").lower()
        if kind not in _KINDS:
            continue
        onset, duration = table.number(row, "onset"), table.number(row, "duration")
        if onset is None or duration is None or duration <= 0.0:
            raise RecordingError(
                f"the event {kind} needs an onset and a duration above 0, both in s",
                table.path,
                line=row + 2,
            )
        if onset + duration <= start_s or onset >= end_s:
            raise RecordingError(
                f"the event {kind} at {onset:g} to {onset + duration:g} s lies outside the "
                f"samples, which run from {start_s:g} to {end_s:g} s",
                table.path,
                line=row + 2,
            )
        found.append(Mark(kind=cast(MarkKind, kind), start_s=onset, end_s=onset + duration))
    return found
