"""Two blocks of swings, one verdict."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.block_location import has_strays
from analysis.change_text import comparison_cautions, comparison_sentence
from analysis.comparison import Block, Comparison, Method, Verdict, compare_blocks
from analysis.detectable_change import (
    minimal_detectable_change_of_means,
    swings_needed,
    uncertainty_of_change,
)
from analysis.errors import SeriesError
from analysis.reliability import minimal_detectable_change, session_to_session

BEFORE = [44.1, 46.0, 45.2, 43.8, 45.9, 44.7, 45.3, 46.2]
AFTER = [47.9, 49.1, 48.3, 50.0, 48.8, 47.5, 49.4, 48.0]
SAME = [44.9, 45.8, 44.2, 45.5, 46.1, 43.9, 45.0, 45.4]

tenths = st.integers(-900, 900).map(lambda value: value / 10.0)
blocks = st.lists(tenths, min_size=2, max_size=15)


def sentence(comparison: Comparison) -> str:
    return comparison_sentence(comparison, label="Separation at the top", unit="°")


def codes(comparison: Comparison) -> set[str]:
    return {flag.code for flag in comparison_cautions(comparison)}


def test_clear_change_is_called_changed_with_its_range():
    found = compare_blocks(Block(BEFORE), Block(AFTER))
    assert found.verdict is Verdict.CHANGED
    assert sentence(found) == (
        "Separation at the top: changed. From 45.1 to 48.6°, a difference of +3.5 "
        "(95 % range +2.5 to +4.4)."
    )


def test_small_difference_is_not_shown_and_the_reader_learns_what_could_be():
    found = compare_blocks(Block(BEFORE), Block(SAME))
    assert found.verdict is Verdict.NOT_SHOWN
    assert sentence(found).endswith("less than 0.9° cannot be told from none here.")
    assert found.detectable == pytest.approx((found.high - found.low) / 2.0)


@pytest.mark.parametrize("swings", [0, 1, 2, 4])
def test_block_of_fewer_than_five_swings_carries_no_verdict(swings):
    found = compare_blocks(Block(BEFORE), Block(AFTER[:swings]))
    assert found.verdict is Verdict.TOO_FEW
    assert (found.change is None) == (swings < 2)
    assert "at least 5 in each" in sentence(found)


def test_mounting_that_moved_hides_a_change_and_more_swings_do_not_help():
    found = compare_blocks(Block(BEFORE, 1.5), Block(AFTER, 1.5), matters=2.0)
    assert found.verdict is Verdict.NOT_SHOWN
    assert found.swings_needed is None
    assert found.lasting_u == pytest.approx(1.5 * math.sqrt(2.0))
    assert "more_swings_do_not_help" in codes(found)


def test_too_few_for_what_matters_says_how_many_would_do():
    found = compare_blocks(Block(BEFORE), Block(SAME), matters=0.5)
    assert found.verdict is Verdict.TOO_FEW
    assert f"about {found.swings_needed} in each would show a change of 0.5°" in sentence(found)
    assert found.swings_needed == swings_needed(0.5, pooled(BEFORE, SAME))


def pooled(first: list[float], second: list[float]) -> float:
    return math.sqrt((np.var(first, ddof=1) + np.var(second, ddof=1)) / 2.0)


def test_difference_known_to_be_small_is_not_answered_with_more_swings():
    swings = np.random.default_rng(1).standard_normal(60)
    found = compare_blocks(Block(swings), Block(swings[::-1]), matters=0.36)
    assert found.swings_needed > 60
    assert found.verdict is Verdict.NOT_SHOWN
    assert "small" in codes(found)


def test_spread_between_sessions_keeps_a_golfers_day_from_being_called_a_change():
    days = [[42, 43, 41, 42], [47, 46, 48, 47], [44, 45, 43, 44], [48, 49, 47, 48]]
    alone = compare_blocks(Block(BEFORE), Block(AFTER))
    known = compare_blocks(Block(BEFORE), Block(AFTER), between_sessions=session_to_session(days))
    assert (alone.verdict, known.verdict) == (Verdict.CHANGED, Verdict.NOT_SHOWN)
    assert "day_not_known" in codes(alone)
    assert "day_not_known" not in codes(known)
    assert known.dof <= 3


def test_mounting_is_not_counted_again_beside_the_spread_between_sessions():
    days = session_to_session([[42, 43, 41, 42], [47, 46, 48, 47], [44, 45, 43, 44]])
    bare = compare_blocks(Block(BEFORE), Block(AFTER), between_sessions=days)
    both = compare_blocks(Block(BEFORE, 0.5), Block(AFTER, 0.5), between_sessions=days)
    assert both.lasting_u == bare.lasting_u
    wide = compare_blocks(Block(BEFORE, 9.0), Block(AFTER, 9.0), between_sessions=days)
    assert wide.lasting_u == pytest.approx(9.0 * math.sqrt(2.0))


def test_one_wild_swing_does_not_hide_a_change():
    wild = [*AFTER, 5.0]
    found = compare_blocks(Block(BEFORE), Block(wild))
    assert has_strays(np.array(wild))
    assert found.method is Method.TRIMMED_MEANS
    assert found.verdict is Verdict.CHANGED
    assert "strays" in codes(found)


@pytest.mark.parametrize(("value", "strays"), [(5.1, False), (-5.1, False), (5.3, True)])
def test_stray_lies_more_than_five_median_deviations_out(value, strays):
    """0.6745 x / MAD > 3.5, here with a MAD of 1: beyond 5.19."""
    assert has_strays(np.array([-2, -2, -1, -1, 0, 0, 0, 1, 1, 2, value])) is strays


def test_block_that_mostly_repeats_one_value_has_no_strays():
    assert not has_strays(np.array([3.0] * 7 + [9.0]))


def test_few_swings_of_many_numbers_read_together_carry_no_verdict():
    found = compare_blocks(Block(BEFORE[:5]), Block(AFTER[:5]), looked_at_together=20)
    assert found.rank is None
    assert found.verdict is Verdict.TOO_FEW
    assert "read together" in sentence(found)


def test_missing_values_are_left_out_and_counted():
    found = compare_blocks(Block([None, *BEFORE, math.nan]), Block(np.array(AFTER)))
    assert found.before.left_out == 2
    assert found.change == compare_blocks(Block(BEFORE), Block(AFTER)).change
    assert "left_out" in codes(found)


def test_swings_that_follow_each_other_are_said():
    drifting = list(np.linspace(40.0, 50.0, 12))
    found = compare_blocks(Block(drifting), Block(drifting))
    assert "neighbours_alike" in codes(found)
    allowed = compare_blocks(Block(drifting), Block(drifting), serial_correlation=0.9)
    assert allowed.standard_u > 4.0 * found.standard_u


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: compare_blocks(Block(BEFORE, -1.0), Block(AFTER)), "shared_u of the first"),
        (lambda: compare_blocks(Block(BEFORE), Block(AFTER, math.nan)), "shared_u of the second"),
        (lambda: compare_blocks(Block(["a"]), Block(AFTER)), "first block: expected numbers"),
        (lambda: compare_blocks(Block(BEFORE), Block([math.inf])), "second block: value 1"),
        (lambda: compare_blocks(Block(BEFORE), Block(AFTER), matters=0.0), "matters"),
        (lambda: compare_blocks(Block(BEFORE), Block(AFTER), looked_at_together=0), "together"),
        (lambda: compare_blocks(Block(BEFORE), Block(AFTER), confidence=95.0), "confidence"),
        (lambda: compare_blocks(Block(BEFORE), Block(AFTER), serial_correlation=1.0), "serial"),
        (lambda: swings_needed(0.0, 1.0), "other than 0"),
        (lambda: uncertainty_of_change(1.0, 0, 5), "1 or more in each block"),
    ],
)
def test_wrong_questions_are_refused_with_their_reason(call, words):
    with pytest.raises(SeriesError, match=words):
        call()


def test_detectable_change_of_single_scores_is_the_usual_one():
    assert minimal_detectable_change_of_means(3.0, 1, 1) == pytest.approx(
        minimal_detectable_change(3.0)
    )


def test_detectable_change_falls_with_swings_down_to_what_they_share():
    sizes = [
        minimal_detectable_change_of_means(3.0, n, n, shared_u_after=1.0) for n in (5, 20, 9**9)
    ]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] == pytest.approx(1.96, abs=0.001)
    assert swings_needed(2.7, 3.0, lasting_u=1.0) is None
    assert swings_needed(4.0, 3.0, lasting_u=1.0, most_dof=3) is None
    assert swings_needed(4.0, 3.0, lasting_u=1.0) > swings_needed(4.0, 3.0)


@given(blocks, blocks)
def test_swapping_the_blocks_turns_the_change_round(first, second):
    there, back = (
        compare_blocks(Block(first), Block(second)),
        compare_blocks(Block(second), Block(first)),
    )
    assert there.verdict is back.verdict
    assert (there.low, there.high) == pytest.approx((-back.high, -back.low))


@given(blocks, blocks, tenths, st.randoms(use_true_random=False))
def test_neither_the_zero_of_the_scale_nor_the_order_of_swings_moves_a_change(
    first, second, shift, random
):
    plain = compare_blocks(Block(first), Block(second))
    shuffled = [value + shift for value in random.sample(first, len(first))]
    moved = compare_blocks(Block(shuffled), Block([value + shift for value in second]))
    if plain.method is moved.method:  # a stray exactly at the limit may round to either side
        assert moved.change == pytest.approx(plain.change, abs=1e-9)
        assert moved.standard_u == pytest.approx(plain.standard_u, rel=1e-6, abs=1e-9)


@given(blocks, blocks, st.sampled_from([0.25, 4.0, 1024.0]))
def test_unit_does_not_matter(first, second, scale):
    plain = compare_blocks(Block(first, 0.5), Block(second, 0.5))
    scaled = compare_blocks(
        Block([scale * value for value in first], 0.5 * scale),
        Block([scale * value for value in second], 0.5 * scale),
    )
    assert scaled.verdict is plain.verdict
    assert (scaled.low, scaled.high) == pytest.approx((scale * plain.low, scale * plain.high))


@given(blocks, blocks, st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_more_shared_error_never_makes_a_change(first, second, shared_u, more):
    narrow = compare_blocks(Block(first, shared_u), Block(second))
    wide = compare_blocks(Block(first, shared_u + more), Block(second))
    assert wide.standard_u >= narrow.standard_u
    assert wide.detectable >= narrow.detectable * (1.0 - 1e-9)
    assert not (wide.verdict is Verdict.CHANGED and narrow.verdict is not Verdict.CHANGED)


@given(blocks, blocks)
def test_verdict_follows_from_the_two_ranges_shown(first, second):
    found = compare_blocks(Block(first), Block(second))
    if found.verdict is Verdict.CHANGED:
        assert found.low * found.high > 0.0
        assert found.rank.low * found.rank.high > 0.0
        assert min(len(first), len(second)) >= 5
    elif found.verdict is Verdict.NOT_SHOWN:
        assert found.low <= 0.0 <= found.high or found.rank.low <= 0.0 <= found.rank.high
    else:
        assert min(len(first), len(second)) < 5
    assert sentence(found).count(found.verdict.value) == 1
