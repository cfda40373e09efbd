"""Swings as CSV: one row a swing, the same columns from a recording and from the store.

A number is written as the shortest text that reads back to the very same float64. A text that a
spreadsheet could take for a formula gets an apostrophe in front; numbers never do.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from analysis.columns import COLUMNS
from analysis.results import Swing

Cell = float | int | str | None

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class SwingRow:
    """One swing for the table. `leading`: values of the columns in front, such as the golfer."""

    number: int
    metrics: Mapping[str, float | str | None]
    uncertainty: Mapping[str, float] = field(default_factory=dict)
    flags: Sequence[str] = ()
    events: Mapping[str, float] = field(default_factory=dict)
    leading: Sequence[Cell] = ()

    @classmethod
    def of(cls, swing: Swing, leading: Sequence[Cell] = ()) -> SwingRow:
        """Row of a swing as the analysis returns it."""
        codes = [flag.code for flag in swing.flags]
        return cls(swing.number, swing.metrics, swing.uncertainty, codes, swing.events, leading)


def csv_header(leading: Sequence[str] = ()) -> list[str]:
    """Column names: `leading`, then every metric, then `<column>_u` for every number that has one.

    `<column>_u` is one standard uncertainty in the unit of the column.
    """
    names = [column.name for column in COLUMNS]
    return [*leading, *names, *(f"{name}_u" for name in uncertain_columns())]


def uncertain_columns() -> list[str]:
    """Columns that carry a standard uncertainty."""
    return [column.name for column in COLUMNS if column.has_uncertainty]


def csv_lines(rows: Iterable[SwingRow], leading: Sequence[str] = ()) -> Iterator[str]:
    """Lines of the table with their line ends (RFC 4180), header first."""
    yield _line(csv_header(leading))
    for row in rows:
        yield _line([_text(value) for value in (*row.leading, *row_values(row))])


def row_values(row: SwingRow) -> list[Cell]:
    """Values of a row in the order of `csv_header()`, without the leading ones."""
    values: dict[str, Cell] = {**row.events, **row.metrics}
    values["swing"] = row.number
    values["quality"] = ";".join(row.flags) or "ok"
    shown = [values.get(column.name) for column in COLUMNS]
    return [*shown, *(row.uncertainty.get(name) for name in uncertain_columns())]


def _text(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA_STARTS) else value
    return repr(value)


def _line(cells: Sequence[str]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer).writerow(cells)
    return buffer.getvalue()
