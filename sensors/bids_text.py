"""Small text files of a BIDS data set: UTF-8, JSON objects and tables with a header line.

A file is measured before it is read, so no claim inside it can make the reader allocate.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import msgspec

from sensors.errors import RecordingError

MAX_SMALL_FILE_BYTES: Final = 16 * 1024 * 1024
"""JSON, channels, events and participants; a participants table of 100 000 people takes 8 MB."""

MISSING: Final = "n/a"
"""How BIDS writes a missing value in a table."""


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table with a header: column names in order, rows of text as name -> cell."""

    path: Path
    columns: tuple[str, ...]
    rows: tuple[dict[str, str], ...]

    def require(self, *columns: str) -> None:
        """Raise RecordingError naming every column of `columns` that is not there."""
        missing = [name for name in columns if name not in self.columns]
        if missing:
            raise RecordingError(
                f"needs the columns {', '.join(columns)}; {', '.join(missing)} "
                f"{'is' if len(missing) == 1 else 'are'} missing, found: {', '.join(self.columns)}",
                self.path,
                line=1,
            )

    def number(self, row: int, column: str) -> float | None:
        """The cell as a finite number, None for n/a or empty; RecordingError for text."""
        text = self.rows[row].get(column, MISSING)
        if text in (MISSING, ""):
            return None
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not abs(value) < float("inf"):
            raise RecordingError(
                f"column {column} holds a number, received {shorten(text)}", self.path, line=row + 2
            )
        return value


def shorten(text: str) -> str:
    """The text in quotes, cut to what fits in one sentence."""
    return repr(text if len(text) <= 40 else text[:37] + "…")


def decode_utf8(data: bytes, path: Path, *, first_line: int = 1) -> str:
    """Text of UTF-8 bytes that start at line `first_line`. Raises RecordingError with the line."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = first_line + data.count(b"\n", 0, error.start)
        raise RecordingError("is not UTF-8 text; save it as UTF-8", path, line=line) from None


def file_size(path: Path, limit: int, advice: str) -> int:
    """Size in bytes of a file that is there, not empty and not above `limit`."""
    try:
        if not path.is_file():
            raise RecordingError("expected a file here, found none", path)
        size = path.stat().st_size
    except OSError as error:
        raise RecordingError(f"cannot be read: {error.strerror or error}", path) from error
    if size == 0:
        raise RecordingError("the file is empty", path)
    if size > limit:
        raise RecordingError(
            f"the file has {size / 1e6:.0f} MB, at most {limit / 1e6:.0f} MB are read; {advice}",
            path,
        )
    return size


def read_text(path: Path) -> str:
    """Text of a small file. Raises RecordingError: missing, empty, too large, not UTF-8."""
    file_size(path, MAX_SMALL_FILE_BYTES, "a file of this kind describes, it holds no samples")
    try:
        return decode_utf8(path.read_bytes().removeprefix(b"\xef\xbb\xbf"), path)
    except OSError as error:
        raise RecordingError(f"cannot be read: {error.strerror or error}", path) from error


def read_json(path: Path) -> dict[str, object]:
    """The JSON object in a file. Raises RecordingError: as read_text, or not a JSON object."""
    try:
        content = msgspec.json.decode(read_text(path))
    except (msgspec.DecodeError, RecursionError) as error:
        raise RecordingError(f"is not valid JSON: {error}", path) from error
    if not isinstance(content, dict):
        raise RecordingError("expected a JSON object {…}", path)
    return content


def read_table(path: Path) -> TextTable:
    """A tab-separated table with a header line. Raises RecordingError with the line."""
    lines = read_text(path).replace("\r\n", "\n").rstrip("\n").split("\n")
    columns = tuple(name.strip() for name in lines[0].split("\t"))
    if len(set(columns)) != len(columns):
        raise RecordingError("a column name stands twice in the header", path, line=1)
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        cells = [cell.strip() for cell in line.split("\t")]
        if len(cells) != len(columns):
            raise RecordingError(
                f"the header names {len(columns)} columns, this line has {len(cells)}",
                path,
                line=number,
            )
        rows.append(dict(zip(columns, cells, strict=True)))
    return TextTable(path, columns, tuple(rows))
