"""Holes anywhere in a swing: numbers, or the word that there are none; never a crash."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.samples import SampleTable
from analysis.session import analyse_window
from tests.support.range_sessions import range_session


def without(table: SampleTable, start_s: float, end_s: float) -> SampleTable:
    kept = (table.time_s < start_s) | (table.time_s > end_s)
    return SampleTable(table.time_s[kept], table.gyro[kept], table.accel[kept])


@pytest.mark.parametrize("segment", ["pelvis", "upper_back", "both"])
def test_a_hole_anywhere_leaves_finite_numbers_or_a_swing_said_to_be_unreadable(segment: str):
    session = range_session(51, 2)
    swing = session.analysed()[0]
    rng = np.random.default_rng(len(segment))
    unreadable = 0
    for _ in range(30):
        start_s = swing.events["upper_back_peak_s"] + rng.uniform(-3.0, 0.6)
        end_s = start_s + 10.0 ** rng.uniform(-1.7, 0.7)
        tables = {"pelvis": session.pelvis, "upper_back": session.upper_back}
        for name in tables if segment == "both" else [segment]:
            tables[name] = without(tables[name], start_s, end_s)
        found = analyse_window(
            *tables.values(), swing.window, 1, [session.calibration], session.golfer
        )
        numbers = [v for v in found.metrics.values() if isinstance(v, float)]
        assert np.isfinite(numbers).all()
        is_unreadable = "unreadable" in {flag.code for flag in found.flags}
        assert is_unreadable == (not numbers)
        unreadable += is_unreadable
    assert 0 < unreadable < 30
