"""A session in sum: how much each number varies, what can be told apart, and whether it drifts."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from analysis.columns import Column
from analysis.detectable_change import minimal_detectable_change_of_means
from analysis.fatigue import session_slope
from analysis.reliability import Spread, minimal_detectable_change, within_session_sd
from server.change_views import CautionView, DriftView, LeftOutView, MetricSummaryView, SummaryView
from server.metric_choice import BY_REVERSAL
from server.session_swings import SessionSwings, dwells
from server.views import SessionView

CONFIDENCE = 0.95


def summary(swings: SessionSwings, columns: Sequence[Column]) -> SummaryView:
    """The session in the numbers asked for. Drifts share 95 % among them (Bonferroni)."""
    each = 1.0 - (1.0 - CONFIDENCE) / len(columns)
    left_out = [record for record in swings.records if not record.swing.usable]
    return SummaryView(
        session=SessionView.of(swings.session),
        swings=len(swings.records),
        used=len(swings.usable),
        left_out=[LeftOutView.of(record) for record in left_out],
        cautions=CautionView.of_all(swings.cautions()),
        metrics=[_metric(swings, column, each) for column in columns],
    )


def _metric(swings: SessionSwings, column: Column, confidence: float) -> MetricSummaryView:
    numbers = swings.values(column.name)
    there = [number for number in numbers if number is not None]
    spread = within_session_sd([numbers]) if len(there) > 1 else None
    at = [float(record.swing.number) for record in swings.usable]
    drift = session_slope(numbers, at, confidence=confidence)
    error = spread.sd / math.sqrt(spread.n) if spread else None
    mounting_u = swings.mounting_u.get(column.name)
    of_reversal = column.name in BY_REVERSAL
    retest = _mdc_of_means(spread, mounting_u) if mounting_u is not None else None
    return MetricSummaryView(
        column=column.name,
        n=len(there),
        without_number=len(numbers) - len(there),
        dwelling=sum(map(dwells, swings.usable)) if of_reversal else 0,
        mean=statistics.fmean(there) if there else None,
        mean_u=_mean_u(swings, column.name, error),
        sd=spread.sd if spread else None,
        sd_low=spread.low if spread else None,
        sd_high=spread.high if spread else None,
        standard_error=error,
        mounting_u=mounting_u,
        mdc95_swing=minimal_detectable_change(spread.sd) if spread else None,
        mdc95_block=_mdc_of_means(spread, 0.0),
        mdc95_retest=retest,
        drift=DriftView.of(drift, column),
    )


def _mean_u(swings: SessionSwings, column: str, error: float | None) -> float | None:
    """Standard error, and what one swing is uncertain by as if all of it were shared.

    An upper bound: of a swing's uncertainty only noise averages out, and mounting, scale and clock
    far outweigh it.
    """
    known = [u for record in swings.usable if (u := record.swing.uncertainty.get(column))]
    shared = statistics.median(known) if known else swings.mounting_u.get(column)
    return None if error is None or shared is None else math.hypot(error, shared)


def _mdc_of_means(spread: Spread | None, shared_u: float) -> float | None:
    """MDC95 of the means of two blocks like this one."""
    if spread is None:
        return None
    return minimal_detectable_change_of_means(
        spread.sd, spread.n, spread.n, shared_u_before=shared_u, shared_u_after=shared_u
    )
