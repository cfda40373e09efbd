"""The levels an analysis has to reach, and how a run of sessions is held against them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.accuracy_sessions import MeasuredSession, Wearing

COVERED = 1.96
"""Standard uncertainties to either side of a 95 % interval."""
COVERAGE_LEVEL = (0.92, 0.98)
FEWEST_FOR_COVERAGE = 50


@dataclass(frozen=True)
class Level:
    """What errors of a column must stay within. mean: of their sizes; within: 95 % of them."""

    within: float
    mean: float | None = None


@dataclass(frozen=True)
class Measure:
    """A column, the unit its errors are told in, and their factor; relative: a share of truth."""

    column: str
    unit: str
    factor: float = 1.0
    relative: bool = False


@dataclass(frozen=True)
class Row:
    """Errors of one column over a run: bias (mean), mean size, 95th percentile of size.

    coverage: share of errors inside their 95 % interval, None without uncertainties.
    """

    measure: Measure
    n: int
    bias: float
    mean: float
    p95: float
    level: Level | None
    coverage: float | None

    @property
    def met(self) -> bool | None:
        """Whether the level is met; None where none is set."""
        return self.reaches(1.0)

    def reaches(self, allowance: float) -> bool | None:
        """The same with the 95th percentile allowed to be `allowance` times its level."""
        if self.level is None:
            return None
        mean_met = self.level.mean is None or self.mean < self.level.mean
        return bool(self.n and mean_met and self.p95 <= allowance * self.level.within)

    @property
    def covered(self) -> bool | None:
        """Whether the intervals hold the truth as often as they say."""
        if self.coverage is None or self.n < FEWEST_FOR_COVERAGE:
            return None
        return COVERAGE_LEVEL[0] <= self.coverage <= COVERAGE_LEVEL[1]


ANGLES = tuple(
    Measure(column, "deg")
    for column in (
        "pelvis_turn_top_deg",
        "upper_back_turn_top_deg",
        "separation_top_deg",
        "joint_separation_top_deg",
    )
)
REVERSALS = (
    Measure("pelvis_reversal_s", "ms", 1e3),
    Measure("upper_back_reversal_s", "ms", 1e3),
    Measure("transition_lead_ms", "ms"),
)
PEAKS = (
    Measure("pelvis_peak_dps", "%", 100.0, relative=True),
    Measure("upper_back_peak_dps", "%", 100.0, relative=True),
)
PEAK_TIMES = (
    Measure("pelvis_peak_s", "ms", 1e3),
    Measure("upper_back_peak_s", "ms", 1e3),
)
TAKEAWAY = (Measure("takeaway_s", "ms", 1e3),)
OTHERS = (
    Measure("separation_max_deg", "deg"),
    Measure("separation_gain_deg", "deg"),
    Measure("joint_separation_max_deg", "deg"),
    Measure("joint_separation_gain_deg", "deg"),
    Measure("separation_closing_peak_dps", "%", 100.0, relative=True),
    Measure("peak_gap_ms", "ms"),
    Measure("speed_gain", "%", 100.0, relative=True),
    Measure("backswing_s", "ms", 1e3),
    Measure("downswing_s", "ms", 1e3),
    Measure("tempo", "%", 100.0, relative=True),
    Measure("pelvis_runway_deg", "deg"),
    Measure("upper_back_runway_deg", "deg"),
    Measure("pelvis_runway_s", "ms", 1e3),
    Measure("upper_back_runway_s", "ms", 1e3),
    Measure("pelvis_mean_rate_dps2", "%", 100.0, relative=True),
    Measure("upper_back_mean_rate_dps2", "%", 100.0, relative=True),
    Measure("pelvis_obliquity_top_deg", "deg"),
    Measure("pelvis_forward_tilt_top_deg", "deg"),
    Measure("upper_back_obliquity_top_deg", "deg"),
    Measure("upper_back_forward_tilt_top_deg", "deg"),
    Measure("impact_s", "ms", 1e3),
)
"""Measured without a level."""

FOUND_LEVEL = 0.995
FALSE_LEVEL = 1.0 / 200.0
"""False swings for each true one."""


def levels(wearing: Wearing) -> dict[Measure, Level | None]:
    """Every measure in order, with its level for a way of wearing sensors."""
    angle = Level(1.5) if wearing.riding else Level(0.6, mean=0.4)
    reversal = Level(4.0) if wearing.riding or wearing.rate_hz < 150.0 else Level(2.5)
    peak, peak_time = (Level(1.5), Level(5.0)) if wearing.riding else (Level(0.5), Level(2.0))
    of: dict[Measure, Level | None] = dict.fromkeys(TAKEAWAY, Level(40.0))
    of |= dict.fromkeys(ANGLES, angle) | dict.fromkeys(REVERSALS, reversal)
    of |= dict.fromkeys(PEAKS, peak) | dict.fromkeys(PEAK_TIMES, peak_time)
    return of | dict.fromkeys(OTHERS)


@dataclass(frozen=True)
class Counts:
    """Swings of a run: true, found, found though marked unusable, false.

    holed: true swings with a long hole of a sensor in them, and how many were found; they
    are not counted among the others.
    """

    true: int
    found: int
    unusable: dict[str, int]
    false: int
    holed: int
    holed_found: int

    @property
    def found_share(self) -> float:
        """Share of true swings found."""
        return self.found / self.true

    @property
    def met(self) -> bool:
        """Whether both levels are met: a run of fewer than 200 swings may have one false one."""
        few_false = self.false <= max(1.0, FALSE_LEVEL * self.true)
        return self.found_share >= FOUND_LEVEL and few_false


def rows(sessions: Sequence[MeasuredSession], wearing: Wearing) -> list[Row]:
    """A row a measure, over the usable swings of all sessions."""
    pairs = [pair for session in sessions for pair in session.usable]
    return [_row(measure, level, pairs) for measure, level in levels(wearing).items()]


def counts(sessions: Sequence[MeasuredSession]) -> Counts:
    """How many swings were found and how many found were none."""
    true = sum(len(s.session.truth) - len(s.holed) for s in sessions)
    pairs = [(swing, truth.number in s.holed) for s in sessions for swing, truth in s.found.pairs]
    unusable: dict[str, int] = {}
    for swing, _ in pairs:
        for flag in swing.flags:
            if flag.spoils:
                unusable[flag.code] = unusable.get(flag.code, 0) + 1
    holed_found = sum(holed for _, holed in pairs)
    return Counts(
        true,
        len(pairs) - holed_found,
        unusable,
        sum(len(s.found.false) for s in sessions),
        sum(len(s.holed) for s in sessions),
        holed_found,
    )


def _row(measure: Measure, level: Level | None, pairs: Sequence[tuple]) -> Row:
    errors, covered = [], []
    for swing, truth in pairs:
        got = (swing.events | swing.metrics).get(measure.column)
        if got is None:
            continue
        true = (truth.events | truth.metrics)[measure.column]
        error = float(got) - true
        errors.append(measure.factor * (error / true if measure.relative else error))
        if measure.column in swing.uncertainty:
            covered.append(abs(error) <= COVERED * swing.uncertainty[measure.column])
    size = np.abs(errors) if errors else np.full(1, np.nan)
    return Row(
        measure,
        len(errors),
        float(np.mean(errors)) if errors else np.nan,
        float(size.mean()),
        float(np.quantile(size, 0.95)),
        level,
        float(np.mean(covered)) if covered else None,
    )
