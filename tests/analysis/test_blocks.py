"""Block means: of the samples alone, however they came."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.blocks import BLOCK_S, LONGEST_BRIDGE, Blocks, SampleStream, block_means
from analysis.samples import SampleTable


def table(time_s: np.ndarray, seed: int = 1) -> SampleTable:
    rng = np.random.default_rng(seed)
    return SampleTable(
        time_s, rng.standard_normal((time_s.size, 3)), rng.standard_normal((time_s.size, 3))
    )


def test_a_block_holds_the_mean_of_its_samples():
    samples = table(np.arange(100) * 0.005 + 7.0)
    blocks = block_means(samples)
    number = int(blocks.index[3])
    inside = (samples.time_s >= number * BLOCK_S) & (samples.time_s < (number + 1) * BLOCK_S)
    assert inside.sum() in (3, 4)
    assert blocks.gyro[3] == pytest.approx(samples.gyro[inside].mean(axis=0))


@settings(max_examples=40, deadline=None)
@given(cuts=st.lists(st.integers(0, 1000), max_size=30), rate_hz=st.sampled_from([99.7, 200.0]))
def test_cutting_changes_no_bit_of_a_block(cuts: list[int], rate_hz: float):
    samples = table(np.arange(1000) / rate_hz - 2.0)
    whole, pieces = SampleStream(), SampleStream()
    whole.push(samples)
    edges = [0, *sorted(cuts), 1000]
    for first, last in pairwise(edges):
        pieces.push(
            SampleTable(
                samples.time_s[first:last],
                samples.gyro[first:last].copy(),
                samples.accel[first:last],
            )
        )
    for stream in (whole, pieces):
        stream.finish()
    assert np.array_equal(whole.blocks.index, pieces.blocks.index)
    assert np.array_equal(whole.blocks.gyro, pieces.blocks.gyro)


def test_the_last_block_is_not_known_before_a_later_sample_comes():
    stream = SampleStream()
    stream.push(table(np.array([0.001, 0.002, 0.017])))
    assert stream.front == 1
    stream.push(table(np.array([0.5])))
    assert stream.front == 2
    stream.finish()
    assert stream.blocks.index.tolist() == [0, 1, 32]


def test_short_holes_are_bridged_by_a_line_and_long_ones_are_still():
    values = np.array([[1.0, 0.0, 0.0], [3.0, 0.0, 0.0], [5.0, 0.0, 0.0]])
    short, long = 4, 4 + LONGEST_BRIDGE + 2
    blocks = Blocks(np.array([0, short, long]), values)
    filled = blocks.filled(0, long + 3)[:, 0]
    assert filled[:5] == pytest.approx([1.0, 1.5, 2.0, 2.5, 3.0])
    assert filled[5:long] == pytest.approx(0.0)
    assert filled[long:] == pytest.approx([5.0, 0.0, 0.0])


def test_what_is_filled_does_not_depend_on_what_else_is_asked_for():
    rng = np.random.default_rng(2)
    kept = np.flatnonzero(rng.random(300) < 0.2)
    blocks = Blocks(kept, rng.standard_normal((kept.size, 3)))
    whole = blocks.filled(0, 300)
    for first, last in ((0, 10), (37, 190), (250, 300)):
        assert np.array_equal(blocks.filled(first, last), whole[first:last])


def test_no_samples_make_no_blocks():
    assert block_means(table(np.zeros(0))).index.size == 0
    assert Blocks.none().filled(3, 6) == pytest.approx(0.0)
