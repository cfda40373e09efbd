"""LEVELS. Simulated range sessions against their own truth, at the levels to reach.

The truth is read off the noise-free motion by code that shares nothing with the analysis
(sensors.motion_truth), with definitions as in analysis.columns. A smaller run of what
`python -m tests.benchmarks.accuracy` measures on 200 swings a table; the same levels, seeds that
no constant was chosen on ('prove'). Dwelling golfers are judged by what does not hang on the
instant of the reversal. A level that is missed is marked so, with what is known of the reason;
such a mark fails the test once the level is reached.
"""

from __future__ import annotations

from functools import lru_cache

import pytest

from analysis.results import Fixing
from tests.benchmarks.accuracy_levels import (
    ANGLES,
    PEAK_TIMES,
    PEAKS,
    REVERSALS,
    TAKEAWAY,
    Measure,
    counts,
    rows,
)
from tests.benchmarks.accuracy_sessions import (
    DWELLING,
    TURNING,
    MeasuredSession,
    Wearing,
    measured_sessions,
)

SWINGS, DWELLING_SWINGS = 100, 24
"""For each way of wearing; in many short sessions, each with sensors of its own."""
RIGID, RIGID_SLOW = (Wearing(riding=False, rate_hz=rate_hz) for rate_hz in (200.0, 100.0))
RIDING = Wearing(riding=True, rate_hz=200.0)
STRAPPED = Wearing(riding=True, rate_hz=200.0, fixing=Fixing.STRAPPED, repeats=3)
"""The analysis is told that the sensors are strapped on, and the golfer stood and bowed thrice. The
long run has this at 100 Hz as well."""
SMALL_RUN = 1.15
"""On the 95th percentiles only: of some 40 sensors it is itself uncertain by 5 to 10 %. The run of
200 swings a table holds the levels as they stand."""
WAYS = (RIGID, RIGID_SLOW, RIDING, STRAPPED)
GROUPS = {
    "takeaway": TAKEAWAY,
    "angles": ANGLES,
    "reversals": REVERSALS,
    "peaks": PEAKS,
    "peak times": PEAK_TIMES,
}
MISSED = {
    (
        RIDING,
        "angles",
    ): "one stand 3 and one bow 5 degrees off alone cost up to 2.3 degrees of turn",
    (RIDING, "peaks"): "a sensor on a spring of 8-12 Hz overshoots by 1-3 % where nobody says so",
}
"""Levels not reached, and why."""


@lru_cache
def sessions(wearing: Wearing, *, dwelling: bool) -> tuple[MeasuredSession, ...]:
    shapes, swings = (DWELLING, DWELLING_SWINGS) if dwelling else (TURNING, SWINGS)
    return tuple(measured_sessions(wearing, shapes, swings, "prove", each=2))


def missed(wearing: Wearing, measures: tuple[Measure, ...], *, dwelling: bool = False) -> list[str]:
    """Lines about the rows that do not meet their level."""
    table = rows(sessions(wearing, dwelling=dwelling), wearing)
    judged = [row for row in table if row.measure in measures]
    assert len(judged) == len(measures)
    assert all(row.level is not None and row.n >= 15 for row in judged)
    return [
        f"{row.measure.column}: mean {row.mean:.2f}, 95 % {row.p95:.2f}, level {row.level}"
        for row in judged
        if not row.reaches(SMALL_RUN)
    ]


def cases() -> list:
    """Every way of wearing with every group of numbers, known misses marked."""
    out = []
    for wearing in WAYS:
        for group in GROUPS:
            reason = MISSED.get((wearing, group))
            marks = [pytest.mark.xfail(reason=reason, strict=True)] if reason else []
            out.append(pytest.param(wearing, group, marks=marks, id=f"{wearing.name}: {group}"))
    return out


@pytest.mark.parametrize("wearing", WAYS, ids=lambda w: w.name)
def test_level_every_swing_is_found_and_at_most_one_that_was_none(wearing: Wearing):
    many = counts(sessions(wearing, dwelling=False))
    assert many.true >= 0.9 * SWINGS
    assert many.met, many


@pytest.mark.parametrize(("wearing", "group"), cases())
def test_level_of_every_number(wearing: Wearing, group: str):
    assert missed(wearing, GROUPS[group]) == []


def test_level_of_golfers_who_dwell_where_the_reversal_does_not_matter():
    """Their angles stand in the table of the long run: here are too few sensors to judge them."""
    many = counts(sessions(RIGID, dwelling=True))
    assert many.met, many
    assert missed(RIGID, (*TAKEAWAY, *PEAKS, *PEAK_TIMES), dwelling=True) == []
