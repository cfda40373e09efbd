"""What must not matter does not matter: heading, mirror, mounting, time, sampling."""

from __future__ import annotations

import dataclasses
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from analysis.columns import BY_NAME
from analysis.results import GolferFacts, Handedness, Interval, Mounting, Swing
from analysis.samples import SampleTable
from analysis.session import analyse_window
from tests.support.range_sessions import range_session

MIRROR_AXIS = np.array([-1.0, -1.0, 1.0])
"""Rates under the mirror image in the x-y plane (an axial vector)."""
MIRROR_PLACE = np.array([1.0, 1.0, -1.0])
"""Forces under the same mirror image (a polar vector)."""


@dataclasses.dataclass(frozen=True)
class Case:
    tables: tuple[SampleTable, SampleTable]
    mountings: tuple[Mounting, Mounting]
    swing: Swing


@lru_cache(maxsize=1)
def one_swing() -> Case:
    session = range_session(41, 3)
    swing = session.analysed()[1]
    tables = tuple(
        table.between(swing.window.start_s, swing.window.end_s)
        for table in (session.pelvis, session.upper_back)
    )
    return Case(tables, (session.calibration.pelvis, session.calibration.upper_back), swing)


@pytest.fixture
def case() -> Case:
    return one_swing()


def again(
    case: Case,
    tables: tuple[SampleTable, ...],
    *,
    mountings: tuple[Mounting, ...] | None = None,
    shift_s: float = 0.0,
    hand: Handedness = Handedness.RIGHT,
) -> Swing:
    session = range_session(41, 3)
    pelvis, upper_back = mountings or case.mountings
    calibration = dataclasses.replace(
        session.calibration, pelvis=pelvis, upper_back=upper_back, from_s=-np.inf
    )
    window = case.swing.window
    moved = Interval(window.start_s + shift_s, window.end_s + shift_s)
    return analyse_window(*tables, moved, case.swing.number, [calibration], GolferFacts(hand))


def assert_alike(swing: Swing, other: Swing, share: float, shift_s: float = 0.0) -> None:
    """Every number equal within `share` of it (times within as many seconds)."""
    for name, value in other.metrics.items():
        got = swing.metrics[name]
        if not isinstance(value, float):
            assert got == value, name
        elif name in swing.events:
            assert got - shift_s == pytest.approx(value, abs=share), name
        else:
            size = 1.0 if BY_NAME[name].unit in ("", "s", "ms") else 10.0
            assert got == pytest.approx(value, rel=share, abs=size * share), name


def turned(table: SampleTable, by: Rotation) -> SampleTable:
    return SampleTable(table.time_s, by.apply(table.gyro), by.apply(table.accel))


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_another_mounting_gives_the_same_numbers(seed: int):
    """The sensor turned in its pocket, and the calibration with it."""
    session_case = one_swing()
    turns = Rotation.random(2, random_state=np.random.default_rng(seed))
    tables, mountings = [], []
    for table, mounting, by in zip(session_case.tables, session_case.mountings, turns, strict=True):
        tables.append(turned(table, by))
        old = Rotation.from_quat(mounting.rotation, scalar_first=True)
        new = (old * by.inv()).as_quat(scalar_first=True)
        mountings.append(dataclasses.replace(mounting, rotation=new))
    swing = again(session_case, tuple(tables), mountings=tuple(mountings))
    assert_alike(swing, session_case.swing, 5e-3)


@settings(max_examples=10, deadline=None)
@given(blocks=st.integers(-(2**30), 2**30))
def test_another_time_of_day_gives_the_same_numbers(blocks: int):
    session_case = one_swing()
    shift_s = blocks / 64.0
    tables = tuple(
        SampleTable(table.time_s + shift_s, table.gyro, table.accel)
        for table in session_case.tables
    )
    swing = again(session_case, tables, shift_s=shift_s)
    assert_alike(swing, session_case.swing, 2e-6, shift_s)


def test_the_mirror_image_is_a_left_hander_with_the_same_numbers(case: Case):
    tables, mountings = [], []
    for table, mounting in zip(case.tables, case.mountings, strict=True):
        worn = turned(table, Rotation.from_quat(mounting.rotation, scalar_first=True))
        tables.append(SampleTable(table.time_s, worn.gyro * MIRROR_AXIS, worn.accel * MIRROR_PLACE))
        mountings.append(dataclasses.replace(mounting, rotation=np.array([1.0, 0.0, 0.0, 0.0])))
    swing = again(case, tuple(tables), mountings=tuple(mountings), hand=Handedness.LEFT)
    assert_alike(swing, case.swing, 1e-3)
    assert {flag.code for flag in swing.flags} == {flag.code for flag in case.swing.flags}


def test_half_the_samples_give_the_same_numbers_but_for_interpolation(case: Case):
    tables = tuple(
        SampleTable(t.time_s[::2].copy(), t.gyro[::2].copy(), t.accel[::2].copy())
        for t in case.tables
    )
    swing = again(case, tables)
    for name, limit in (
        ("separation_top_deg", 0.1),
        ("upper_back_peak_dps", 1.0),
        ("transition_lead_ms", 0.5),
    ):
        assert swing.metrics[name] == pytest.approx(case.swing.metrics[name], abs=limit), name


def test_samples_outside_the_window_change_no_bit(case: Case):
    session = range_session(41, 3)
    swing = again(case, (session.pelvis, session.upper_back))
    assert swing.metrics == again(case, case.tables).metrics
