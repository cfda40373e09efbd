"""Swing finding: what is a swing and what only looks like one, gaps, both hands."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.blocks import Blocks, block_means
from analysis.results import Calibration, Mounting
from analysis.samples import SampleTable
from analysis.segmentation import (
    BEFORE_S,
    LEAST_AFTER_S,
    MOST_AFTER_S,
    SwingFinder,
    anchor_s,
    window_around,
)
from tests.support.range_sessions import found, range_session

WORN = Calibration(Mounting(np.array([1.0, 0, 0, 0])), Mounting(np.array([1.0, 0, 0, 0])))
RATE_HZ = 200.0


def swing_rate(
    time_s: np.ndarray, peak_s: float, *, turn_deg: float = 90.0, peak_dps: float = 600.0
) -> np.ndarray:
    """deg/s about the long axis: a turn away in 0.9 s, then back to a peak, then at rest."""
    rise_s = turn_deg / (0.6 * peak_dps)
    since = time_s - (peak_s - rise_s)
    away = -1.5 * turn_deg / 0.9 * (1.0 - ((since + 0.45) / 0.45) ** 2)
    toward = peak_dps * np.sin(0.5 * np.pi * since / rise_s)
    rate = np.where((since >= -0.9) & (since < 0.0), away, 0.0)
    return np.where((since >= 0.0) & (since < 2.0 * rise_s), toward, rate)


def windows(pelvis_dps: np.ndarray, upper_dps: np.ndarray, time_s: np.ndarray) -> list[float]:
    """Anchors of the swings found in two axial rates, deg/s."""
    streams = []
    for rate in (pelvis_dps, upper_dps):
        gyro = np.zeros((time_s.size, 3))
        gyro[:, 1] = np.radians(rate)
        streams.append(block_means(SampleTable(time_s, gyro, np.zeros_like(gyro))))
    finder = SwingFinder(lambda _: WORN)
    return [anchor_s(window) for window in finder.advance(streams[0], streams[1], 2**60)]


def long_time() -> np.ndarray:
    return np.arange(0.0, 30.0, 1.0 / RATE_HZ)


def test_a_swing_is_found_at_its_peak_with_its_window_around_it():
    time_s = long_time()
    upper = swing_rate(time_s, 20.0)
    found_at = windows(0.7 * upper, upper, time_s)
    assert found_at == pytest.approx([20.0], abs=0.02)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_either_direction_is_a_swing(sign: float):
    time_s = long_time()
    upper = sign * swing_rate(time_s, 20.0)
    assert len(windows(0.7 * upper, upper, time_s)) == 1


@pytest.mark.parametrize(
    ("turn_deg", "peak_dps"),
    [(12.0, 60.0), (45.0, 200.0), (48.0, 310.0), (20.0, 500.0)],
    ids=["putt", "slow half swing", "half swing at half speed", "waggle"],
)
def test_small_and_slow_turns_are_no_swings(turn_deg: float, peak_dps: float):
    time_s = long_time()
    upper = swing_rate(time_s, 20.0, turn_deg=turn_deg, peak_dps=peak_dps)
    assert windows(0.7 * upper, upper, time_s) == []


@pytest.mark.parametrize(("turn_deg", "peak_dps"), [(70.0, 300.0), (60.0, 450.0), (110.0, 900.0)])
def test_slow_full_swings_and_short_fast_ones_are_swings(turn_deg: float, peak_dps: float):
    time_s = long_time()
    upper = swing_rate(time_s, 20.0, turn_deg=turn_deg, peak_dps=peak_dps)
    assert len(windows(0.7 * upper, upper, time_s)) == 1


def test_a_turn_round_without_a_turn_back_before_it_is_no_swing():
    time_s = long_time()
    turn = np.where(np.abs(time_s - 20.0) < 0.4, 300.0 * np.cos(np.pi * (time_s - 20.0) / 0.8), 0.0)
    assert windows(turn, turn, time_s) == []


def test_an_upper_back_that_turns_alone_is_no_swing():
    time_s = long_time()
    upper = swing_rate(time_s, 20.0)
    assert windows(0.05 * upper, upper, time_s) == []


def test_walking_is_no_swing():
    time_s = long_time()
    sway = 90.0 * np.sin(2.0 * np.pi * 0.9 * time_s)
    assert windows(sway, -1.4 * sway, time_s) == []


def test_a_drill_that_turns_the_trunk_to_and_fro_is_no_swing():
    """A first turn away, one toward with a peak beyond that of a slow full swing, and so on."""
    time_s = long_time()
    turns_dps = np.array([-190.0, 255.0, -245.0, 240.0, -180.0])
    number = np.floor((time_s - 18.0) / 0.6).astype(int)
    peak_dps = np.where((number >= 0) & (number < 5), turns_dps[np.clip(number, 0, 4)], 0.0)
    rate = peak_dps * np.abs(np.sin(np.pi * (time_s - 18.0) / 0.6))
    assert windows(0.45 * rate, rate, time_s) == []


def test_a_swing_whose_finish_recoils_is_a_swing():
    time_s = long_time()
    upper = swing_rate(time_s, 20.0)
    recoil = (time_s > 20.6) & (time_s < 21.1)
    upper = np.where(recoil, -200.0 * np.sin(np.pi * (time_s - 20.6) / 0.5), upper)
    assert len(windows(0.7 * upper, upper, time_s)) == 1


def test_a_second_swing_four_seconds_later_is_found_too():
    time_s = long_time()
    upper = swing_rate(time_s, 18.0) + swing_rate(time_s, 22.0, peak_dps=500.0)
    assert windows(0.7 * upper, upper, time_s) == pytest.approx([18.0, 22.0], abs=0.03)


@pytest.mark.parametrize("hole_s", [(19.70, 19.95), (19.9, 20.1), (20.0, 20.25)])
def test_a_quarter_second_lost_in_the_downswing_does_not_hide_a_swing(
    hole_s: tuple[float, float],
):
    time_s = long_time()
    upper = swing_rate(time_s, 20.0)
    kept = (time_s < hole_s[0]) | (time_s > hole_s[1])
    assert len(windows(0.7 * upper[kept], upper[kept], time_s[kept])) == 1


def test_the_window_ends_with_the_quiet_after_the_swing_or_at_the_latest():
    time_s = long_time()
    upper = swing_rate(time_s, 15.0)
    restless = upper + np.where(time_s > 16.0, 40.0 * np.sin(9.0 * time_s), 0.0)
    for rate, after_s in ((upper, LEAST_AFTER_S), (restless, MOST_AFTER_S)):
        gyro = np.zeros((time_s.size, 3))
        gyro[:, 1] = np.radians(rate)
        blocks = block_means(SampleTable(time_s, gyro, np.zeros_like(gyro)))
        window = SwingFinder(lambda _: WORN).advance(blocks, blocks, 2**60)[0]
        assert window.end_s - anchor_s(window) == pytest.approx(after_s, abs=0.02)
        assert anchor_s(window) - window.start_s == pytest.approx(BEFORE_S, abs=0.02)


def test_a_window_can_be_laid_around_a_peak_by_hand():
    window = window_around(123.4567)
    assert anchor_s(window) == pytest.approx(123.4567, abs=0.01)


def test_without_blocks_nothing_is_found():
    assert SwingFinder(lambda _: WORN).advance(Blocks.none(), Blocks.none(), 2**60) == []


@pytest.mark.parametrize(
    ("seed", "shape", "hand", "rate_hz"),
    [(21, "long", "right", 200.0), (22, "short", "left", 100.0), (23, "short", "right", 400.0)],
)
def test_every_swing_of_a_busy_session_is_found_and_nothing_else(
    seed: int, shape: str, hand: str, rate_hz: float
):
    session = range_session(seed, 10, shape=shape, hand=hand, rate_hz=rate_hz)
    result = found(session, session.analysed())
    assert not result.missed
    assert not result.false
    assert len(result.pairs) == 10
    assert all(swing.usable for swing, _ in result.pairs)
