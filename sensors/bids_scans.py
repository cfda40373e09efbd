"""When each tracking system's recording began: the acq_time column of scans.tsv.

Motion-BIDS counts each system's LATENCY from the beginning of its own recording; where scans.tsv
gives both beginnings, they bring the two to one time line.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from sensors.bids_files import RecordingFiles
from sensors.bids_text import MISSING, TextTable, read_table, shorten
from sensors.errors import RecordingError
from sensors.wire import SegmentName


def start_offsets(files: RecordingFiles) -> dict[SegmentName, float]:
    """How long after the first of the systems each began, s; all 0 where it is not told.

    Raises RecordingError: a damaged table, or a time that is none.
    """
    nothing_told = dict.fromkeys(files.motion, 0.0)
    folder = files.folder.parent
    found = sorted(folder.glob("*_scans.tsv"))
    if not found:
        return nothing_told
    table = read_table(found[0])
    table.require("filename")
    begun = {segment: _begun(table, folder, path) for segment, path in files.motion.items()}
    times = [time for time in begun.values() if time is not None]
    if len(times) < len(begun):
        return nothing_told
    first = min(times)
    return {
        segment: (time - first).total_seconds()
        for segment, time in begun.items()
        if time is not None
    }


def _begun(table: TextTable, folder: Path, motion: Path) -> datetime | None:
    for row, cells in enumerate(table.rows):
        if folder / cells["filename"] != motion:
            continue
        text = cells.get("acq_time", MISSING)
        if text in (MISSING, ""):
            return None
        try:
            time = datetime.fromisoformat(text)
        except ValueError:
            raise RecordingError(
                f"acq_time must be such as 2025-04-01T10:30:00.250, received {shorten(text)}",
                table.path,
                line=row + 2,
            ) from None
        return time if time.tzinfo is not None else time.replace(tzinfo=UTC)
    return None
