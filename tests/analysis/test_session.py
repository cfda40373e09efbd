"""A session: the same swings live, stored and recomputed, to the last bit."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.calibration import worn_in_segment_axes
from analysis.results import GolferFacts, Handedness, Swing
from analysis.samples import SampleTable, Segment
from analysis.session import (
    SessionAnalysis,
    analyse_session,
    analyse_window,
    calibration_in_force,
)
from tests.support.range_sessions import RangeSession, range_session


@pytest.fixture(scope="module")
def session() -> RangeSession:
    return range_session(11)


@pytest.fixture(scope="module")
def swings(session: RangeSession) -> list[Swing]:
    return session.analysed()


def assert_same_bits(one: Swing, other: Swing) -> None:
    """Everything equal, floats compared as such."""
    assert (one.number, one.window, one.flags) == (other.number, other.window, other.flags)
    assert one.events == other.events
    assert one.metrics == other.metrics
    assert one.uncertainty == other.uncertainty
    for field in dataclasses.fields(one.curves):
        assert np.array_equal(getattr(one.curves, field.name), getattr(other.curves, field.name))


def pushed(session: RangeSession, sizes: np.random.Generator, largest: int) -> list[Swing]:
    """Swings of a session whose samples come in pieces of random size, turn by turn."""
    live = SessionAnalysis([session.calibration], session.golfer)
    waiting = {Segment.PELVIS: session.pelvis, Segment.UPPER_BACK: session.upper_back}
    swings: list[Swing] = []
    while waiting:
        segment = list(waiting)[int(sizes.integers(len(waiting)))]
        table = waiting.pop(segment)
        count = int(sizes.integers(1, largest))
        head, tail = rows(table, 0, count), rows(table, count, len(table))
        swings += live.push(segment, head)
        if len(tail):
            waiting[segment] = tail
    return swings + live.finish()


def rows(table: SampleTable, first: int, last: int) -> SampleTable:
    """Rows of a table in memory of their own."""
    return SampleTable(
        table.time_s[first:last].copy(),
        table.gyro[first:last].copy(),
        table.accel[first:last].copy(),
    )


def test_all_swings_of_a_busy_session_are_found(session: RangeSession, swings: list[Swing]):
    assert [swing.number for swing in swings] == list(range(1, len(session.truth) + 1))


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32), largest=st.sampled_from([40, 300, 2500, 30_000]))
def test_however_the_samples_are_cut_the_swings_are_the_same_bits(seed: int, largest: int):
    session = range_session(11)
    whole = session.analysed()
    live = pushed(session, np.random.default_rng(seed), largest)
    assert len(live) == len(whole)
    for one, other in zip(live, whole, strict=True):
        assert_same_bits(one, other)


def test_a_window_gives_its_swing_again_to_the_last_bit(session: RangeSession, swings: list[Swing]):
    for swing in swings:
        inside = [
            table.between(swing.window.start_s - 1.0, swing.window.end_s + 1.0)
            for table in (session.pelvis, session.upper_back)
        ]
        again = analyse_window(
            *inside, swing.window, swing.number, [session.calibration], session.golfer
        )
        assert_same_bits(swing, again)


def test_a_swing_is_given_within_four_seconds_of_its_peak(session: RangeSession):
    live = SessionAnalysis([session.calibration], session.golfer)
    delays = []
    for start_s in np.arange(0.0, session.pelvis.time_s[-1], 0.1):
        for segment, table in (
            (Segment.PELVIS, session.pelvis),
            (Segment.UPPER_BACK, session.upper_back),
        ):
            for swing in live.push(segment, table.between(start_s, start_s + 0.1)):
                delays.append(start_s + 0.1 - swing.events["upper_back_peak_s"])
    assert len(delays) == len(session.truth)
    assert max(delays) < 4.0
    assert min(delays) > 1.0


def test_what_is_held_in_memory_does_not_grow_with_the_session(session: RangeSession):
    live = SessionAnalysis([session.calibration], session.golfer)
    held = []
    for start_s in np.arange(0.0, session.pelvis.time_s[-1], 0.5):
        live.push(Segment.PELVIS, session.pelvis.between(start_s, start_s + 0.5))
        live.push(Segment.UPPER_BACK, session.upper_back.between(start_s, start_s + 0.5))
        held.append(live.held_s())
    assert max(held) < 30.0


def test_samples_that_come_twice_change_nothing(session: RangeSession, swings: list[Swing]):
    live = SessionAnalysis([session.calibration], session.golfer)
    again: list[Swing] = []
    for start_s in np.arange(0.0, session.pelvis.time_s[-1], 1.0):
        for segment, table in (
            (Segment.PELVIS, session.pelvis),
            (Segment.UPPER_BACK, session.upper_back),
        ):
            again += live.push(segment, table.between(start_s - 0.3, start_s + 1.0))
    again += live.finish()
    for one, other in zip(swings, again, strict=True):
        assert_same_bits(one, other)


def test_a_calibration_holds_from_its_time_on_until_the_next(session: RangeSession):
    first = dataclasses.replace(session.calibration, from_s=10.0)
    second = dataclasses.replace(session.calibration, from_s=50.0)
    assert not calibration_in_force([first, second], 9.9).calibrated
    assert calibration_in_force([second, first], 10.0) is first
    assert calibration_in_force([second, first], 99.0) is second


def test_swings_before_any_calibration_say_so_and_stay_usable(session: RangeSession):
    swings = analyse_session(session.pelvis, session.upper_back, [], session.golfer)
    assert swings
    assert all("uncalibrated" in {flag.code for flag in swing.flags} for swing in swings)
    flags = {flag.code: flag for swing in swings for flag in swing.flags}
    assert not flags["uncalibrated"].spoils


def test_a_session_without_samples_has_no_swings():
    empty = SampleTable(np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)))
    assert analyse_session(empty, empty, [worn_in_segment_axes()], GolferFacts()) == []


def test_a_swing_that_one_sensor_missed_is_kept_and_marked(session: RangeSession):
    empty = rows(session.pelvis, 0, 0)
    swings = analyse_session(empty, session.upper_back, [session.calibration], session.golfer)
    assert len(swings) == len(session.truth)
    for swing in swings:
        assert [flag.code for flag in swing.flags] == ["unreadable"]
        assert "pelvis" in swing.flags[0].text
        assert not swing.usable
        assert set(swing.metrics.values()) == {None}


def test_a_jump_of_the_clock_by_years_costs_no_memory(session: RangeSession):
    late = 1e9
    tables = [
        SampleTable(
            np.concatenate((table.time_s, table.time_s + late)),
            np.concatenate((table.gyro, table.gyro)),
            np.concatenate((table.accel, table.accel)),
        )
        for table in (session.pelvis, session.upper_back)
    ]
    swings = analyse_session(*tables, [session.calibration], session.golfer)
    assert len(swings) == 2 * len(session.truth)


def test_a_golfer_written_down_with_the_wrong_hand_is_told(session: RangeSession):
    swings = analyse_session(
        session.pelvis, session.upper_back, [session.calibration], GolferFacts(Handedness.LEFT)
    )
    assert len(swings) == len(session.truth)
    for swing, right in zip(swings, session.analysed(), strict=True):
        assert "direction" in {flag.code for flag in swing.flags}
        assert not swing.usable
        assert swing.metrics == right.metrics


def test_two_sensors_that_show_the_same_have_no_separation_and_stop_nothing(session: RangeSession):
    """As on one stick: a share of no separation is no number."""
    together = dataclasses.replace(session.calibration, pelvis=session.calibration.upper_back)
    swings = analyse_session(session.upper_back, session.upper_back, [together], session.golfer)
    assert len(swings) >= len(session.truth)
    for swing in swings:
        assert swing.metrics["separation_top_deg"] == pytest.approx(0.0, abs=1e-9)
        assert swing.metrics["separation_gain_pct"] is None
        assert "separation_gain_pct" not in swing.uncertainty
