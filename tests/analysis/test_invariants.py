"""Whole sessions: what must not matter changes no number beyond its uncertainty.

Each session goes all the way, from raw samples with a calibration of its own to metrics. Where a
swing states an uncertainty, a number may move by a share of it; else by TOLERANCE.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from analysis.budget import Drive, speed_budget
from analysis.calibration import calibrate, worn_in_segment_axes
from analysis.columns import BY_NAME
from analysis.results import GolferFacts, Handedness, Interval, Swing
from analysis.samples import SampleTable
from analysis.session import analyse_session, analyse_window
from sensors.golfer_simulation import SimulatedGolfer, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.worn_sensors import worn_sensors
from tests.benchmarks.accuracy_sessions import sample_table
from tests.support.moving_segment import MovingSegment
from tests.support.moving_segment import swing as turning

Tables = tuple[SampleTable, SampleTable]

TOLERANCE = {"°": 0.15, "°/s": 1.0, "s": 1e-3, "ms": 1.0}
"""By unit, where no uncertainty is stated."""
ADDRESS_S = 0.011
"""The end of a quiet spell is the time of a sample, 10 ms apart at 100 Hz."""
RELATIVE = 5e-3
"""For every other unit, and at least for any."""
SHARE = 0.5
"""Part of one standard uncertainty that a number may move by: another sampling, another mounting
and another hand share their causes of error with the first."""
MIRRORED_RATE, MIRRORED_FORCE = np.array([1.0, 1.0, -1.0]), np.array([-1.0, -1.0, 1.0])
"""Mirror image in the x-y plane: of an axial vector up to its sign, of a polar one likewise."""


@dataclasses.dataclass(frozen=True)
class Raw:
    """A session as it was recorded: pelvis and upper back, marks of stand and bow."""

    tables: Tables
    stand: Interval
    bow: Interval

    def swings(self, hand: Handedness = Handedness.RIGHT) -> list[Swing]:
        """Calibrated by its own marks and analysed."""
        calibration = calibrate(*self.tables, self.stand, self.bow, from_s=self.bow.end_s)
        return analyse_session(*self.tables, [calibration], GolferFacts(hand))

    def each(self, change: Callable[[SampleTable], SampleTable]) -> Raw:
        """The same with both tables changed."""
        pelvis, upper_back = (change(table) for table in self.tables)
        return dataclasses.replace(self, tables=(pelvis, upper_back))


@lru_cache(maxsize=1)
def recorded() -> Raw:
    golfer = SimulatedGolfer()
    faults = worn_sensors(np.random.default_rng(51), golfer)
    simulated = SimulatedRangeSession(PracticePlan(swings=2), faults, 51, golfer)
    marks = {mark.kind: Interval(mark.start_s, mark.end_s) for mark in simulated.marks}
    tables = (sample_table(simulated, "pelvis"), sample_table(simulated, "upper_back"))
    return Raw(tables, marks["stand"], marks["bow"])


@lru_cache(maxsize=1)
def as_recorded() -> list[Swing]:
    return recorded().swings()


def assert_alike(swings: list[Swing], *, shift_s: float = 0.0, share: float = SHARE) -> None:
    """Every number of every swing is that of the session as recorded."""
    assert len(swings) == len(as_recorded()) == 2
    for swing, other in zip(swings, as_recorded(), strict=True):
        assert swing.flags == other.flags
        for name, value in other.metrics.items():
            got = swing.metrics[name]
            if not isinstance(value, float):
                assert got == value, name
                continue
            assert isinstance(got, float), name
            moved = abs(got - value - (shift_s if name in other.events else 0.0))
            assert moved <= allowed(other, name, value, share), (name, moved)


def allowed(swing: Swing, name: str, value: float, share: float) -> float:
    """How far a number may move."""
    if name == "address_s":
        return ADDRESS_S
    fixed = TOLERANCE.get(BY_NAME[name].unit, RELATIVE * abs(value) + 1e-3)
    return max(share * swing.uncertainty.get(name, 0.0), fixed)


def turned(table: SampleTable, by: Rotation) -> SampleTable:
    return SampleTable(table.time_s, by.apply(table.gyro), by.apply(table.accel))


@settings(max_examples=6)
@given(seed=st.integers(0, 10_000))
def test_sensors_worn_at_any_other_angle_and_calibrated_again_give_the_same_numbers(seed: int):
    turns = iter(Rotation.random(2, random_state=np.random.default_rng(seed)))
    assert_alike(recorded().each(lambda table: turned(table, next(turns))).swings())


@settings(max_examples=4)
@given(shift_s=st.floats(-1e5, 1e5))
def test_any_other_time_of_day_gives_the_same_numbers(shift_s: float):
    """Also one that is no whole number of the finder's blocks."""
    raw = recorded()
    later = raw.each(lambda t: SampleTable(t.time_s + shift_s, t.gyro, t.accel))
    later = dataclasses.replace(
        later,
        stand=Interval(raw.stand.start_s + shift_s, raw.stand.end_s + shift_s),
        bow=Interval(raw.bow.start_s + shift_s, raw.bow.end_s + shift_s),
    )
    assert_alike(later.swings(), shift_s=shift_s)


def test_the_mirror_image_is_a_left_handers_session_with_the_same_numbers():
    """The whole world is mirrored, sensors and calibration included."""
    mirrored = recorded().each(
        lambda t: SampleTable(t.time_s, -t.gyro * MIRRORED_RATE, -t.accel * MIRRORED_FORCE)
    )
    assert_alike(mirrored.swings(Handedness.LEFT))


def rows(table: SampleTable, part: slice) -> SampleTable:
    return SampleTable(table.time_s[part], table.gyro[part], table.accel[part])


def doubled(table: SampleTable) -> SampleTable:
    time_s = np.interp(np.arange(0, len(table) - 0.5, 0.5), np.arange(len(table)), table.time_s)
    gyro, accel = (CubicSpline(table.time_s, v)(time_s) for v in (table.gyro, table.accel))
    return SampleTable(time_s, gyro, accel)


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda t: rows(t, slice(None, None, 2)), id="100 Hz"),
        pytest.param(lambda t: rows(t, slice(1, None, 2)), id="100 Hz, the other half"),
        pytest.param(doubled, id="400 Hz"),
    ],
)
def test_another_sampling_rate_gives_the_same_numbers(
    change: Callable[[SampleTable], SampleTable],
):
    assert_alike(recorded().each(change).swings(), share=1.0)


@settings(max_examples=6)
@given(before_s=st.floats(0.5, 20.0), after_s=st.floats(2.1, 10.0))
def test_a_cut_out_of_the_session_holds_the_same_swing_to_the_last_bit(
    before_s: float, after_s: float
):
    """All that the swing's own window holds, and what more was cut out does not matter."""
    raw, whole = recorded(), as_recorded()[1]
    calibration = calibrate(*raw.tables, raw.stand, raw.bow, from_s=raw.bow.end_s)
    start_s, end_s = whole.window.start_s - before_s, whole.window.end_s + after_s
    cut = [table.between(start_s, end_s) for table in raw.tables]
    found = analyse_session(*cut, [calibration], GolferFacts())
    (same,) = [s for s in found if s.window == whole.window]
    assert same.metrics == whole.metrics
    assert same.events == whole.events
    assert same.uncertainty == whole.uncertainty


def facing(turn_deg: float) -> Swing:
    """A swing made by two segments that move as splines say, facing any way."""
    upper, top_s, end_s = turning(quiet_s=16.0)
    heading = np.array([turn_deg, 0.0, 0.0])
    moving = (
        MovingSegment(upper.knots_s, upper.angles_deg * (0.55, 0.4, 0.7) + heading),
        MovingSegment(upper.knots_s + 0.02, upper.angles_deg + heading),
    )
    time_s = np.arange(0.0, end_s + 1.5, 0.005)
    tables = [segment.samples(time_s, noise=1e-4, seed=k) for k, segment in enumerate(moving)]
    peak_s = top_s + 0.3
    (found,) = analyse_session(*tables, [worn_in_segment_axes()], GolferFacts())
    assert abs(found.events["upper_back_peak_s"] - peak_s) < 0.3
    return analyse_window(*tables, found.window, 1, [worn_in_segment_axes()], GolferFacts())


@settings(max_examples=4)
@given(turn_deg=st.floats(-180.0, 180.0))
def test_the_world_turned_about_the_vertical_gives_the_same_numbers(turn_deg: float):
    plain, other = facing(0.0), facing(turn_deg)
    for name, value in plain.metrics.items():
        close = pytest.approx(value, rel=1e-6, abs=1e-6) if isinstance(value, float) else value
        assert other.metrics[name] == close, name


@settings(max_examples=30)
@given(
    pick=st.tuples(st.integers(0, 1), st.integers(0, 1)),
    segment=st.sampled_from(["pelvis", "upper_back"]),
    scale=st.floats(0.5, 2.0),
)
def test_the_speed_budget_of_real_numbers_is_exact_and_additive(
    pick: tuple[int, int], segment: str, scale: float
):
    """Of two swings, the second made faster or slower by speed alone and by runway alone."""
    drives, peaks = [], []
    for number in pick:
        numbers = as_recorded()[number].metrics
        runway, rate, peak = (
            float(numbers[f"{segment}_{what}"])
            for what in ("runway_deg", "mean_rate_dps2", "peak_dps")
        )
        drives.append(Drive(runway, rate))
        peaks.append(peak)
        assert drives[-1].peak == pytest.approx(peak, rel=1e-12)
    other = Drive(drives[1].runway * scale, drives[1].rate)
    budget = speed_budget(other, drives[0])
    assert budget.runway_part + budget.rate_part == budget.total
    expected = math.log(peaks[1] / peaks[0]) + 0.5 * math.log(scale)
    assert budget.total == pytest.approx(expected, abs=1e-12)
