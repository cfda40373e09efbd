"""Two sensors held as one and twisted, their times stamped over a simulated radio.

by_correlation is the general-purpose way to the offset between them: scipy.signal.correlate and
correlation_lags on the sizes of the angular rates brought to 1 kHz; the peak below a sample by a
parabola (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from scipy.signal import correlate, correlation_lags

from tests.support.radio_pair import StampedStream

GRID_S = 0.001
BEGIN_S, END_S = 32.0, 40.0

Seen = tuple[np.ndarray, np.ndarray, float]
"""Stamped times (n,), angular rates there (n, 3), rad/s, and the times' mean error, s."""


def twist(true_s: np.ndarray) -> np.ndarray:
    """Angular rate (n, 3), rad/s, of both sensors held as one."""
    along = 5.0 * np.sin(2 * np.pi * 1.1 * true_s) + 2.0 * np.sin(2 * np.pi * 2.7 * true_s + 1.0)
    across = 1.5 * np.sin(2 * np.pi * 0.6 * true_s)
    return np.column_stack([along, across, 0.3 * along])


def seen(stream: StampedStream) -> Seen:
    """What a stream shows of the twist."""
    true_s = stream.delivery.sample_s.ravel()
    stamped = stream.stamped
    time_s = true_s + np.interp(true_s, stamped.true_s, stamped.error_s)
    during = (true_s > BEGIN_S) & (true_s < END_S)
    return time_s[during], twist(true_s[during]), float(np.mean((time_s - true_s)[during]))


def as_measured(of: Seen, rng: np.random.Generator) -> Seen:
    """The same with a gyro's noise of 0.15, bias of 1.5 deg/s and scale error of 0.5 %."""
    time_s, gyro, error_s = of
    scaled = gyro * (1.0 + 0.005 * rng.standard_normal())
    biased = scaled + np.radians(1.5 * rng.standard_normal(3))
    return time_s, biased + np.radians(0.15 * rng.standard_normal(gyro.shape)), error_s


def by_correlation(first: Seen, second: Seen) -> float:
    """Offset of the second's times, s, by cross-correlation."""
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
