"""The numbers of a motion.tsv: rows of tab-separated values, no header, read block by block.

Blocks go through numpy's C parser. Whatever that parser cannot vouch for goes through a plain
reading of the same block, which is slower and names the file, the line and the column.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt

from sensors.bids_text import MISSING, decode_utf8, file_size, shorten
from sensors.errors import RecordingError

MAX_MOTION_BYTES: Final = 1024**3
"""One motion.tsv: about 20 h of one sensor at 200 Hz."""
MAX_LINE_BYTES: Final = 64 * 1024
_BLOCK_BYTES: Final = 4 * 1024 * 1024
_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_TAB, _NEWLINE = b"\t\n"

Array = npt.NDArray[np.float64]

Progress = Callable[[int], None]
"""Told the bytes read since it was last told."""


def motion_file_size(path: Path) -> int:
    """Size of a motion.tsv in bytes. Raises RecordingError: missing, empty, far too large."""
    return file_size(path, MAX_MOTION_BYTES, "cut the recording into shorter ones")


def read_motion_table(
    path: Path,
    channels: Sequence[str],
    used: Sequence[int],
    progress: Progress | None = None,
) -> Array:
    """Columns `used` of a motion.tsv with the named `channels`, (n, len(used)), all finite.

    Raises RecordingError with line and column: a value that is missing, not a number or not
    finite, a line with another number of values than there are channels, not UTF-8.
    """
    motion_file_size(path)
    parts = []
    line = 1
    for block in _blocks(path):
        part = _parse_block(block, path, line, len(channels), used)
        if part is None:
            part = _read_plainly(block, path, line, channels, used)
        parts.append(part)
        line += len(part)
        if progress is not None:
            progress(len(block))
    if not parts:
        raise RecordingError("holds no samples", path)
    return np.concatenate(parts)


def _blocks(path: Path) -> Iterator[bytes]:
    """The file in blocks of whole lines; blank lines at its end are left out."""
    pending = b""
    try:
        with path.open("rb") as file:
            left = _end_of_rows(file)
            while data := file.read(min(_BLOCK_BYTES, left)):
                left -= len(data)
                whole, newline, pending = (pending + data).rpartition(b"\n")
                if len(pending) > MAX_LINE_BYTES:
                    raise RecordingError(
                        f"a line has more than {MAX_LINE_BYTES} bytes; expected a table of numbers",
                        path,
                    )
                if newline:
                    yield whole + newline
    except OSError as error:
        raise RecordingError(f"cannot be read: {error.strerror or error}", path) from error
    if pending:
        yield pending + b"\n"


def _end_of_rows(file: BinaryIO) -> int:
    """Bytes up to the end of the last line that is not blank; the file is rewound."""
    size = file.seek(0, io.SEEK_END)
    file.seek(max(0, size - MAX_LINE_BYTES))
    tail = file.read()
    file.seek(0)
    return size - len(tail) + len(tail.rstrip(b"\r\n"))


def _parse_block(
    block: bytes, path: Path, line: int, columns: int, used: Sequence[int]
) -> Array | None:
    """The block through numpy's parser, (rows, len(used)); None where it has doubts."""
    buffer = np.frombuffer(block, np.uint8)
    separators = buffer[(buffer == _TAB) | (buffer == _NEWLINE)]
    if separators.size % columns:
        return None
    ends = separators.reshape(-1, columns) == _NEWLINE
    if ends[:, :-1].any() or not ends[:, -1].all():
        return None
    text = io.StringIO(decode_utf8(block, path, first_line=line))
    try:
        part = np.loadtxt(text, delimiter="\t", comments=None, usecols=used, ndmin=2)
    except ValueError:
        return None
    return part if len(part) == len(ends) and np.isfinite(part).all() else None


def _read_plainly(
    block: bytes, path: Path, line: int, channels: Sequence[str], used: Sequence[int]
) -> Array:
    """The same block cell by cell. Raises RecordingError at the first cell that is no number."""
    rows = []
    for number, row in enumerate(decode_utf8(block, path, first_line=line).splitlines(), line):
        cells = row.split("\t")
        if len(cells) != len(channels):
            found = "the line is empty" if not row.strip() else f"this line has {len(cells)} values"
            raise RecordingError(
                f"expected {len(channels)} values a line as channels.tsv lists; {found}",
                path,
                line=number,
            )
        rows.append([_number(cells[i], channels[i], path, number, i + 1) for i in used])
    return np.array(rows, dtype=np.float64)


def _number(cell: str, channel: str, path: Path, line: int, column: int) -> float:
    text = cell.strip()
    if _NUMBER.fullmatch(text):
        value = float(text)
        if math.isfinite(value):
            return value
        problem = f"{shorten(text)} is too large"
    elif text in (MISSING, ""):
        problem = "the value is missing; a sample with a gap has to be left out, line and all"
    elif text.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        problem = f"{text} is not a finite number"
    else:
        hint = " (a motion.tsv has no header line)" if line == 1 else ""
        problem = f"expected a number, received {shorten(text)}{hint}"
    raise RecordingError(f"channel {channel}: {problem}", path, line=line, column=column)
