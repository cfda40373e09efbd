"""What is said of a doubtful swing, and what keeps it out of averages."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.calibration import worn_in_segment_axes
from analysis.quality import calibration_flags
from analysis.results import Flag, Swing
from analysis.samples import SampleTable
from analysis.session import analyse_session
from tests.support.range_sessions import RangeSession, range_session


@pytest.fixture(scope="module")
def session() -> RangeSession:
    return range_session(51, 2)


def analysed(session: RangeSession, **changed: SampleTable) -> Swing:
    """The session's first swing, with one sensor's samples replaced."""
    tables = {"pelvis": session.pelvis, "upper_back": session.upper_back} | changed
    return analyse_session(
        tables["pelvis"], tables["upper_back"], [session.calibration], session.golfer
    )[0]


def codes(swing: Swing) -> set[str]:
    return {flag.code for flag in swing.flags}


def without(table: SampleTable, start_s: float, end_s: float) -> SampleTable:
    kept = (table.time_s < start_s) | (table.time_s > end_s)
    return SampleTable(table.time_s[kept], table.gyro[kept], table.accel[kept])


def test_a_clean_swing_has_no_flag(session: RangeSession):
    swing = analysed(session)
    assert codes(swing) == set()
    assert swing.usable


@pytest.mark.parametrize("segment", ["pelvis", "upper_back"])
def test_samples_lost_in_the_downswing_are_told_and_spoil(session: RangeSession, segment: str):
    top_s = session.truth[0].events["top_s"]
    table = without(getattr(session, segment), top_s + 0.05, top_s + 0.12)
    swing = analysed(session, **{segment: table})
    assert codes(swing) == {"gap"}
    assert segment.replace("_", " ") in swing.flags[0].text
    assert not swing.usable


def test_samples_lost_before_address_do_not_matter(session: RangeSession):
    address_s = session.truth[0].events["address_s"]
    table = without(session.pelvis, address_s - 6.0, address_s - 5.8)
    assert codes(analysed(session, pelvis=table)) == set()


def test_a_gyro_at_the_end_of_its_range_is_told(session: RangeSession):
    full = np.radians(500.0)
    table = dataclasses.replace(
        session.upper_back, gyro=np.clip(session.upper_back.gyro, -full, full)
    )
    swing = analysed(session, upper_back=table)
    assert "clipped" in codes(swing)
    assert not swing.usable


def test_clocks_that_are_not_known_well_are_told(session: RangeSession):
    table = dataclasses.replace(session.pelvis, time_u_s=0.02)
    swing = analysed(session, pelvis=table)
    assert codes(swing) == {"clock"}
    assert "20 ms" in swing.flags[0].text


def test_a_restless_address_is_told(session: RangeSession):
    """Both sensors shaken from long before the swing up to its takeaway."""
    takeaway_s = session.truth[0].events["takeaway_s"]
    changed = {}
    for segment in ("pelvis", "upper_back"):
        table: SampleTable = getattr(session, segment)
        shaken = (table.time_s > takeaway_s - 12.0) & (table.time_s < takeaway_s - 0.05)
        gyro = table.gyro.copy()
        gyro[shaken, 0] += 1.0 * np.sin(2.0 * np.pi * 1.5 * table.time_s[shaken])
        changed[segment] = dataclasses.replace(table, gyro=gyro)
    swing = analysed(session, **changed)
    assert "unsteady" in codes(swing)
    assert not swing.usable


def test_no_calibration_is_told_but_spoils_nothing():
    flags = calibration_flags(worn_in_segment_axes())
    assert [(flag.code, flag.spoils) for flag in flags] == [("uncalibrated", False)]


def test_only_flags_that_spoil_keep_a_swing_out(session: RangeSession):
    swing = analysed(session)
    told = dataclasses.replace(swing, flags=(Flag("dwell", "Dwells.", spoils=False),))
    spoilt = dataclasses.replace(swing, flags=(Flag("gap", "A gap."),))
    assert told.usable
    assert not spoilt.usable


@pytest.mark.parametrize("seed", range(6))
def test_whatever_is_lost_the_rest_is_analysed_and_marked(session: RangeSession, seed: int):
    rng = np.random.default_rng(seed)
    changed = {}
    for segment in ("pelvis", "upper_back"):
        table = getattr(session, segment)
        for truth in session.truth:
            start_s = truth.events["top_s"] + rng.uniform(-2.0, 0.5)
            table = without(table, start_s, start_s + 10.0 ** rng.uniform(-2.0, 0.5))
        changed[segment] = table
    swings = analyse_session(
        changed["pelvis"], changed["upper_back"], [session.calibration], session.golfer
    )
    assert len(swings) <= len(session.truth)
    for swing in swings:
        lost = {"gap", "unreadable", "unsteady", "no_quiet", "gravity_disagrees"} & codes(swing)
        assert lost or swing.usable
