"""The speed budget: exact, additive, against anything."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.budget import Drive, drive, speed_budget
from analysis.errors import BudgetError

PEAKS = st.floats(50.0, 1500.0)
RUNWAYS = st.floats(10.0, 200.0)


@given(peak=PEAKS, runway=RUNWAYS)
def test_rate_and_runway_give_the_peak_back(peak: float, runway: float):
    assert drive(peak, runway).peak == pytest.approx(peak, rel=1e-12)


@given(peaks=st.tuples(PEAKS, PEAKS), runways=st.tuples(RUNWAYS, RUNWAYS))
def test_the_parts_add_up_to_the_whole_difference(
    peaks: tuple[float, float], runways: tuple[float, float]
):
    swing, reference = (drive(p, r) for p, r in zip(peaks, runways, strict=True))
    budget = speed_budget(swing, reference)
    assert budget.runway_part + budget.rate_part == budget.total
    assert budget.total == pytest.approx(math.log(peaks[0] / peaks[1]), abs=1e-12)


@given(peaks=st.tuples(PEAKS, PEAKS, PEAKS), runways=st.tuples(RUNWAYS, RUNWAYS, RUNWAYS))
def test_budgets_chain_from_one_reference_to_the_next(
    peaks: tuple[float, ...], runways: tuple[float, ...]
):
    a, b, c = (drive(p, r) for p, r in zip(peaks, runways, strict=True))
    there = speed_budget(a, b).runway_part + speed_budget(b, c).runway_part
    assert there == pytest.approx(speed_budget(a, c).runway_part, abs=1e-12)


def test_a_fifth_more_runway_at_the_same_rate_is_a_tenth_more_speed():
    budget = speed_budget(Drive(120.0, 1800.0), Drive(100.0, 1800.0))
    assert budget.runway_share_pct == pytest.approx(100.0 * (math.sqrt(1.2) - 1.0))
    assert budget.rate_share_pct == 0.0


@pytest.mark.parametrize("values", [(0.0, 90.0), (600.0, 0.0), (-1.0, 90.0), (math.nan, 90.0)])
def test_what_cannot_be_divided_up_is_refused(values: tuple[float, float]):
    with pytest.raises(BudgetError, match="above zero"):
        drive(*values)
