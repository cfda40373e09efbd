"""Numbers of several swings, as the statistics take them.

One rule for what is missing: None and NaN stand for a swing whose number could not be had; they
are left out and counted. Infinity, text and nested lists are faults of the caller and refused.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.errors import SeriesError
from analysis.samples import Array

Values = Sequence[float | None] | Array
"""Numbers of swings in their order; None or NaN where a swing has none."""


def with_gaps(values: Values, name: str) -> Array:
    """The numbers as (n,) float64, NaN where a swing has none.

    Raises SeriesError: not a flat list, a value that is no number, or an infinite one.
    """
    if any(isinstance(value, str | bytes) for value in values):  # numpy would read "3.2"
        raise SeriesError(f"{name}: expected numbers, received text")
    try:
        array = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise SeriesError(
            f"{name}: expected a flat list of numbers (None where a swing has none)"
        ) from error
    if array.ndim != 1:
        raise SeriesError(f"{name}: expected a flat list of numbers, received shape {array.shape}")
    if np.isinf(array).any():
        place = int(np.flatnonzero(np.isinf(array))[0])
        raise SeriesError(f"{name}: value {place + 1} is infinite; expected a number or None")
    return array


def measured(values: Values, name: str) -> tuple[Array, int]:
    """The numbers that are there, (m,), in order, and how many were left out.

    Raises SeriesError as `with_gaps` does.
    """
    array = with_gaps(values, name)
    kept = array[~np.isnan(array)]
    return kept, array.size - kept.size


def complete_rows(scores: Sequence[Values] | Array, name: str) -> tuple[Array, int]:
    """Rows of a table without any gap, (n, k), and how many rows were left out.

    Raises SeriesError: rows of unequal length, or as `with_gaps` does.
    """
    rows = [with_gaps(row, f"{name}, row {number}") for number, row in enumerate(scores, start=1)]
    if len({row.size for row in rows}) > 1:
        raise SeriesError(f"{name}: expected rows of equal length (one column an occasion)")
    table = np.array(rows, dtype=np.float64).reshape(len(rows), rows[0].size if rows else 0)
    kept = table[~np.isnan(table).any(axis=1)]
    return kept, table.shape[0] - kept.shape[0]


def checked_fraction(value: float, name: str) -> float:
    """`value` where it lies strictly between 0 and 1. Raises SeriesError otherwise."""
    if not 0.0 < value < 1.0:
        raise SeriesError(f"{name}: expected a number between 0 and 1, received {value}")
    return float(value)


def checked_spread(value: float, name: str) -> float:
    """`value` where it is finite and not negative. Raises SeriesError otherwise."""
    if not (np.isfinite(value) and value >= 0.0):
        raise SeriesError(f"{name}: expected a number of 0 or more, received {value}")
    return float(value)
