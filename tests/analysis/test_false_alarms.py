"""How often the verdicts are wrong, by simulation with fixed seeds.

Nothing changed: at most 5 % 'changed', whatever the shape of the spread, with and without an
error that a block's swings share. Something changed: the chance of seeing it, as stated here.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from analysis.comparison import Block, Verdict, compare_blocks
from analysis.detectable_change import swings_needed
from analysis.fatigue import FEWEST_SWINGS, Drift, session_slope, theil_sen
from analysis.reliability import session_to_session

RUNS = 2000
Draw = Callable[[np.random.Generator, int], np.ndarray]


def normal(rng: np.random.Generator, swings: int) -> np.ndarray:
    return rng.standard_normal(swings)


def heavy_tailed(rng: np.random.Generator, swings: int) -> np.ndarray:
    return rng.standard_t(3, swings) / 3**0.5


def skewed(rng: np.random.Generator, swings: int) -> np.ndarray:
    return (np.exp(0.5 * rng.standard_normal(swings)) - np.exp(0.125)) / 0.604


def with_strays(rng: np.random.Generator, swings: int) -> np.ndarray:
    wide = rng.random(swings) < 0.1
    return np.where(wide, 5.0, 1.0) * rng.standard_normal(swings)


def shares(
    draw: Draw, sizes: tuple[int, int], *, shared_u: float = 0.0, change: float = 0.0, seed: int = 1
) -> tuple[float, float]:
    """Share of 'changed', and of intervals that hold the true change; SD of swings is 1."""
    rng = np.random.default_rng(seed)
    changed = held = 0
    for _ in range(RUNS):
        before, after = (
            draw(rng, size) + shared_u * rng.standard_normal() + step
            for size, step in zip(sizes, (0.0, change), strict=True)
        )
        found = compare_blocks(Block(before, shared_u), Block(after, shared_u))
        changed += found.verdict is Verdict.CHANGED
        held += found.low <= change <= found.high
    return changed / RUNS, held / RUNS


@pytest.mark.parametrize("shared_u", [0.0, 0.4])
@pytest.mark.parametrize(
    ("draw", "sizes"),
    [
        (normal, (5, 5)),
        (normal, (20, 20)),
        (heavy_tailed, (10, 10)),
        (skewed, (10, 30)),
        (with_strays, (20, 12)),
    ],
)
def test_at_most_one_in_twenty_unchanged_pairs_is_called_changed(draw, sizes, shared_u):
    changed, held = shares(draw, sizes, shared_u=shared_u)
    assert changed <= 0.05
    assert 0.92 <= held <= 0.98


def test_wider_second_block_alone_is_hardly_called_a_change():
    rng = np.random.default_rng(6)
    verdicts = [
        compare_blocks(Block(rng.normal(0.0, 1.0, 12)), Block(rng.normal(0.0, 2.0, 20))).verdict
        for _ in range(RUNS)
    ]
    assert verdicts.count(Verdict.CHANGED) / RUNS <= 0.05


@pytest.mark.parametrize(
    ("sizes", "change", "power"),
    [((5, 5), 1.0, 0.20), ((10, 10), 1.0, 0.48), ((20, 20), 1.0, 0.82), ((10, 10), 1.5, 0.84)],
)
def test_power_for_a_change_in_units_of_the_swings_own_spread(sizes, change, power):
    changed, _ = shares(normal, sizes, change=change, seed=2)
    assert changed == pytest.approx(power, abs=0.03)


def test_planned_number_of_swings_shows_the_change_about_four_times_in_five():
    """The rank witness costs a few per cent of the nominal 80 %."""
    swings = swings_needed(0.8, 1.0)
    changed, _ = shares(normal, (swings, swings), change=0.8, seed=3)
    assert 0.74 <= changed <= 0.84


def test_shared_error_left_unsaid_makes_false_alarms():
    """Why `shared_u` matters: 0.4 SD of mounting, ignored."""
    rng = np.random.default_rng(4)
    verdicts = [
        compare_blocks(
            Block(normal(rng, 15) + 0.4 * rng.standard_normal()),
            Block(normal(rng, 15) + 0.4 * rng.standard_normal()),
        ).verdict
        for _ in range(1000)
    ]
    assert verdicts.count(Verdict.CHANGED) / 1000 > 0.15


@pytest.mark.parametrize("between_sd", [0.0, 0.5, 1.5])
@pytest.mark.parametrize("sessions", [4, 8])
def test_golfers_day_is_not_called_a_change_once_it_is_known(sessions, between_sd):
    rng = np.random.default_rng(5)

    def session() -> np.ndarray:
        return rng.standard_normal(12) + between_sd * rng.standard_normal()

    def verdict() -> Verdict:
        known = session_to_session([session() for _ in range(sessions)])
        return compare_blocks(Block(session()), Block(session()), between_sessions=known).verdict

    verdicts = [verdict() for _ in range(2000)]
    assert verdicts.count(Verdict.CHANGED) / 2000 <= 0.05


@pytest.mark.parametrize(("allowed", "most", "least"), [(0.3, 0.05, 0.0), (0.0, 0.15, 0.08)])
def test_alike_neighbours_need_to_be_allowed_for(allowed, most, least):
    """Lag-one correlation 0.3 inside blocks of 20: ignored it doubles the false alarms."""
    rng = np.random.default_rng(7)
    verdicts = [
        compare_blocks(
            Block(autoregressive(rng, 20, 0.3)),
            Block(autoregressive(rng, 20, 0.3)),
            serial_correlation=allowed,
        ).verdict
        for _ in range(2000)
    ]
    assert least <= verdicts.count(Verdict.CHANGED) / 2000 <= most


def autoregressive(rng: np.random.Generator, swings: int, correlation: float) -> np.ndarray:
    values = rng.standard_normal(swings)
    for place in range(1, swings):
        fresh = (1.0 - correlation**2) ** 0.5 * values[place]
        values[place] = correlation * values[place - 1] + fresh
    return values


def test_numbers_read_side_by_side_share_the_one_in_twenty():
    rng = np.random.default_rng(8)
    alarms = 0
    for _ in range(500):
        alarms += any(
            compare_blocks(
                Block(normal(rng, 12)), Block(normal(rng, 12)), looked_at_together=8
            ).verdict
            is Verdict.CHANGED
            for _ in range(8)
        )
    assert alarms / 500 <= 0.05


@pytest.mark.parametrize("swings", range(FEWEST_SWINGS, 61, 10))
def test_at_most_one_in_twenty_steady_sessions_is_called_drifting(swings):
    """Exact, for any spread without ties.

    The number of falling pairs of a random order is a sum of independent uniform counts
    0 ... k - 1, k = 1 ... n (Kendall's distribution); the interval leaves out zero when no more
    pairs fall, or rise, than there are slopes below its lower bound.
    """
    chances = np.array([1.0])
    for k in range(2, swings + 1):
        chances = np.convolve(chances, np.full(k, 1.0 / k))
    at, values = np.arange(float(swings)), normal(np.random.default_rng(swings), swings)
    first, second = np.triu_indices(swings, k=1)
    slopes = (values[second] - values[first]) / (at[second] - at[first])
    below = int(np.count_nonzero(slopes < theil_sen(at, values).low))
    alarms = 2.0 * chances[: below + 1].sum()
    assert 0.04 <= alarms <= 0.05


def test_steady_session_with_heavy_tails_is_seldom_called_drifting():
    rng = np.random.default_rng(10)
    verdicts = [session_slope(heavy_tailed(rng, 15)).verdict for _ in range(RUNS)]
    assert verdicts.count(Drift.SHOWN) / RUNS <= 0.05


def test_drift_of_two_spreads_over_thirty_swings_is_seen():
    rng = np.random.default_rng(9)
    line = np.linspace(0.0, -2.0, 30)
    verdicts = [session_slope(line + normal(rng, 30)).verdict for _ in range(1000)]
    assert verdicts.count(Drift.SHOWN) / 1000 == pytest.approx(0.86, abs=0.05)
