"""How often 95 % intervals hold the truth, over sessions drawn from the stated population."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.columns import COLUMNS
from tests.support.drawn_sessions import drawn_session
from tests.support.range_sessions import found

COVERED = 1.96
"""Standard uncertainties to either side of a 95 % interval of a normal error."""
COMMON = frozenset({"runway_deg", "runway_s", "mean_rate_dps2"})
"""Columns that are those of the upper back under another name."""
MEASURED = tuple(c for c in COLUMNS if c.has_uncertainty and c.name not in COMMON)


@dataclass(frozen=True)
class HeldIntervals:
    """Of one column: n errors, and per error its size over the standard uncertainty.

    error: root mean square of the errors; u: median standard uncertainty, in the column's unit.
    """

    column: str
    ratios: np.ndarray
    error: float
    u: float

    @property
    def n(self) -> int:
        """How many errors."""
        return self.ratios.size

    @property
    def share(self) -> float:
        """Share of errors within their 95 % interval."""
        return float(np.mean(np.abs(self.ratios) <= COVERED))

    @property
    def half_width(self) -> float:
        """Of the 95 % interval of the share itself (normal, from a binomial)."""
        return COVERED * float(np.sqrt(self.share * (1.0 - self.share) / self.n))

    @property
    def size(self) -> float:
        """Root mean square ratio: 1 where uncertainties are neither too small nor too large."""
        return float(np.sqrt(np.mean(self.ratios**2)))


def held_intervals(seeds: Iterable[int]) -> list[HeldIntervals]:
    """One swing a session: errors of different seeds have nothing in common."""
    errors: dict[str, list[tuple[float, float]]] = {column.name: [] for column in MEASURED}
    for seed in seeds:
        session = drawn_session(seed)
        for swing, truth in found(session, session.analysed()).pairs:
            if not swing.usable:
                continue
            true = truth.events | truth.metrics
            for name, of_column in errors.items():
                got = swing.metrics[name]
                if got is not None:
                    of_column.append((float(got) - true[name], swing.uncertainty[name]))
    return [_held(name, np.array(rows)) for name, rows in errors.items()]


def _held(name: str, rows: np.ndarray) -> HeldIntervals:
    error, u = rows.T
    return HeldIntervals(name, error / u, float(np.sqrt(np.mean(error**2))), float(np.median(u)))
