"""Offset between two learnt clocks against cross-correlation of the same twist.

Reference: scipy.signal.correlate and correlation_lags, a general-purpose library, on the sizes of
the angular rates brought to 1 kHz; the peak below a sample by a parabola (common practice, no
source). The truth is the simulated radio's own.
"""

import numpy as np
import pytest
from scipy.signal import correlate, correlation_lags

from sensors.sync_check import sync_check
from tests.support.radio_pair import Scene, StampedStream, deliveries

GRID_S = 0.001
BEGIN_S, END_S = 32.0, 40.0


def twist(true_s: np.ndarray) -> np.ndarray:
    """Angular rate (n, 3), rad/s, of both sensors held as one."""
    along = 5.0 * np.sin(2 * np.pi * 1.1 * true_s) + 2.0 * np.sin(2 * np.pi * 2.7 * true_s + 1.0)
    across = 1.5 * np.sin(2 * np.pi * 0.6 * true_s)
    return np.column_stack([along, across, 0.3 * along])


def seen(stream: StampedStream) -> tuple[np.ndarray, np.ndarray, float]:
    """Stamped times, angular rates there and mean error of the times during the twist."""
    true_s = stream.delivery.sample_s.ravel()
    stamped = stream.stamped
    time_s = true_s + np.interp(true_s, stamped.true_s, stamped.error_s)
    during = (true_s > BEGIN_S) & (true_s < END_S)
    return time_s[during], twist(true_s[during]), float(np.mean((time_s - true_s)[during]))


def by_correlation(first, second) -> float:
    grid_s = np.arange(BEGIN_S + 0.5, END_S - 0.5, GRID_S)
    sizes = [
        np.interp(grid_s, time_s, np.linalg.norm(gyro, axis=1))
        for time_s, gyro, _ in (first, second)
    ]
    sizes = [size - size.mean() for size in sizes]
    every = correlate(sizes[0], sizes[1], "full", method="fft")
    at = int(np.argmax(every))
    before, peak, after = every[at - 1 : at + 2]
    part = 0.5 * (before - after) / (before - 2.0 * peak + after)
    lags = correlation_lags(len(grid_s), len(grid_s), "full")
    return float((lags[at] + part) * GRID_S)


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
