"""Offset between two learnt clocks against cross-correlation of the same twist.

Reference: scipy.signal.correlate, a general-purpose library, as tests/support/one_twist.py says.
The truth is the simulated radio's own.
"""

import numpy as np
import pytest

from sensors.sync_check import sync_check
from tests.support.one_twist import by_correlation, seen
from tests.support.radio_pair import Scene, StampedStream, deliveries


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_clock_sync_check_and_correlation_see_the_same_offset(seed):
    rng = np.random.default_rng(seed)
    scene = Scene(duration_s=42.0)
    streams = [StampedStream(deliveries(scene, rng, sign)[0], ticks=True) for sign in (1, -1)]
    for stream in streams:
        stream.run()
    first, second = (seen(stream) for stream in streams)
    truth_s = first[2] - second[2]
    check = sync_check(first[0], first[1], second[0], second[1])
    assert check.good
    assert check.offset_s == pytest.approx(truth_s, abs=0.0003)
    assert by_correlation(first, second) == pytest.approx(truth_s, abs=0.001)
    assert check.offset_s == pytest.approx(by_correlation(first, second), abs=0.001)
