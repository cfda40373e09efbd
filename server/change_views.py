"""What goes out as JSON about a session in sum and about the change between two."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field

from analysis.change_text import comparison_cautions, comparison_sentence, drift_sentence
from analysis.columns import Column
from analysis.comparison import BlockSummary, Comparison
from analysis.fatigue import SessionSlope
from analysis.results import Flag
from server.store import SwingRecord
from server.views import SessionView, View

Number = Annotated[float | None, Field(description="None where the swings are too few for it.")]


class CautionView(View):
    """Something to keep in mind beside a number; `code` is stable, `text` is for people."""

    code: str
    text: str

    @classmethod
    def of_all(cls, flags: Iterable[Flag]) -> list[CautionView]:
        """Views of cautions in their order."""
        return [cls(code=flag.code, text=flag.text) for flag in flags]


class LeftOutView(View):
    """A swing that averages leave out, and why."""

    id: str
    number: int
    reasons: list[str]

    @classmethod
    def of(cls, record: SwingRecord) -> LeftOutView:
        """View of a swing that is not usable."""
        reasons = [flag.text for flag in record.swing.flags if flag.spoils]
        return cls(id=record.id, number=record.swing.number, reasons=reasons)


class DriftView(View):
    """Whether a number drifts from the first swing to the last, as with fatigue or warming up.

    Slope per swing (Theil and Sen) with its interval of `confidence`; over_session: the slope over
    the whole stretch; both in the column's unit.
    """

    verdict: Literal["drift", "not shown", "too few swings"]
    sentence: str
    slope: Number
    low: Number
    high: Number
    over_session: Number
    confidence: float

    @classmethod
    def of(cls, slope: SessionSlope, column: Column) -> DriftView:
        """View of a drift; an interval without a bound on a side has None there."""
        line = slope.theil_sen
        return cls(
            verdict=slope.verdict.value,
            sentence=drift_sentence(
                slope, label=column.label, unit=column.unit, decimals=column.decimals
            ),
            slope=line.slope if line else None,
            low=_finite(line.low) if line else None,
            high=_finite(line.high) if line else None,
            over_session=slope.over_session,
            confidence=slope.confidence,
        )


class MetricSummaryView(View):
    """One number over the usable swings of a session, in the column's unit.

    sd: from swing to swing, with its 95 % interval. mean_u: one standard uncertainty of the mean:
    the standard error, and with it what no number of swings averages away. mdc95_swing: the
    smallest difference between two single swings beyond the usual spread; mdc95_block: between
    the means of two such blocks with the sensors left in place; mdc95_retest: with the sensors
    put on anew in between. mounting_u: one standard uncertainty that all swings share from how the
    sensors were put on; None where it is not known. dwelling: swings in which a segment dwells at
    its reversal, for numbers that hang on it.
    """

    column: str
    n: int
    without_number: int
    dwelling: int
    mean: Number
    mean_u: Number
    sd: Number
    sd_low: Number
    sd_high: Number
    standard_error: Number
    mounting_u: float | None
    mdc95_swing: Number
    mdc95_block: Number
    mdc95_retest: Number
    drift: DriftView


class SummaryView(View):
    """A session in sum. used: swings that averages take."""

    session: SessionView
    swings: int
    used: int
    left_out: list[LeftOutView]
    cautions: list[CautionView]
    metrics: list[MetricSummaryView]


class BlockView(View):
    """One number in one of two sessions. mean: of the middle swings where `method` says so.

    mounting_u: one standard uncertainty that all its swings share from how the sensors were put
    on; None where it is not known.
    """

    n: int
    without_number: int
    mean: Number
    sd: Number
    mounting_u: float | None

    @classmethod
    def of(cls, block: BlockSummary, mounting_u: float | None) -> BlockView:
        """View of a block."""
        return cls(
            n=block.n,
            without_number=block.left_out,
            mean=block.centre,
            sd=block.sd,
            mounting_u=mounting_u,
        )


class MetricComparisonView(View):
    """One number before and after, in the column's unit.

    change: after minus before, with its interval of the comparison's confidence. lasting_u: one
    standard uncertainty of the change that more swings do not lower. detectable: the smallest
    change that these swings can tell from none. day_to_day_sd: how much the golfer's session means
    move by themselves, from earlier sessions; None where there are too few.
    """

    column: str
    verdict: Literal["changed", "not shown", "too few swings"]
    sentence: str
    cautions: list[CautionView]
    method: Literal["means", "trimmed means"]
    before: BlockView
    after: BlockView
    change: Number
    low: Number
    high: Number
    standard_u: Number
    lasting_u: float
    detectable: Number
    day_to_day_sd: float | None

    @classmethod
    def of(
        cls,
        found: Comparison,
        column: Column,
        mounting_u: tuple[float | None, float | None],
        day_to_day_sd: float | None,
    ) -> MetricComparisonView:
        """View of a comparison as the analysis gives it."""
        sentence = comparison_sentence(
            found, label=column.label, unit=column.unit, decimals=column.decimals
        )
        return cls(
            column=column.name,
            verdict=found.verdict.value,
            sentence=sentence,
            cautions=CautionView.of_all(comparison_cautions(found)),
            method=found.method.value,
            before=BlockView.of(found.before, mounting_u[0]),
            after=BlockView.of(found.after, mounting_u[1]),
            change=found.change,
            low=found.low,
            high=found.high,
            standard_u=found.standard_u,
            lasting_u=found.lasting_u,
            detectable=found.detectable,
            day_to_day_sd=day_to_day_sd,
        )


class ComparisonView(View):
    """Two sessions of one golfer, number by number.

    confidence: of each interval; 95 % shared out among the numbers read together, so that it holds
    for all of them at once. earlier_sessions: sessions from which the golfer's spread from day to
    day was taken; 0 where there are too few.
    """

    before: SessionView
    after: SessionView
    confidence: float
    earlier_sessions: int
    cautions: list[CautionView]
    metrics: list[MetricComparisonView]


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
