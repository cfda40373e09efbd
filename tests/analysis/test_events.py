"""Moments of a swing on curves with known moments."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from analysis.events import ONSET_RATE, AxialCurve, downswing, takeaway


def swing_velocity(time_s: np.ndarray, reversal_s: float, rise_s: float = 0.28) -> np.ndarray:
    """rad/s: 0.9 s turn away that ends in a reversal, then a rise to 10 rad/s, and a fall."""
    since = time_s - reversal_s
    slope = 10.0 * 0.5 * np.pi / rise_s
    away = slope * since * (1.0 + since / 0.9) ** 2
    toward = 10.0 * np.sin(0.5 * np.pi * since / rise_s)
    both = np.where(since < 0.0, away, toward)
    return np.where((since < -0.9) | (since > 2.0 * rise_s), 0.0, both)


@settings(max_examples=60, deadline=None)
@given(
    reversal_s=st.floats(2.0, 2.02),
    rise_s=st.floats(0.2, 0.4),
    rate_hz=st.sampled_from([100.0, 200.0, 400.0]),
)
def test_reversal_and_peak_are_read_between_the_samples(
    reversal_s: float, rise_s: float, rate_hz: float
):
    time_s = np.arange(0.0, 4.0, 1.0 / rate_hz)
    curve = AxialCurve.through(time_s, swing_velocity(time_s, reversal_s, rise_s))
    down = downswing(curve, reversal_s, reversal_s + 0.6)
    assert down is not None
    assert down.reversal_s == pytest.approx(reversal_s, abs=1e-4)
    assert down.peak_s == pytest.approx(reversal_s + rise_s, abs=3e-4)
    assert down.peak == pytest.approx(10.0, rel=1e-5)
    assert down.reversal_slope == pytest.approx(10.0 * 0.5 * np.pi / rise_s, rel=0.05)


def test_the_reversal_is_the_last_crossing_where_the_segment_dwells():
    time_s = np.arange(0.0, 3.0, 0.005)
    dwell = 0.02 * np.sin(2.0 * np.pi * 5.0 * (time_s - 1.0))
    down_from = 1.4
    velocity = np.where(time_s < down_from, dwell, 10.0 * np.sin(2.0 * np.pi * (time_s - 1.4)))
    velocity = np.where(time_s < 1.0, -1.0, velocity)
    found = downswing(AxialCurve.through(time_s, velocity), 1.5, 1.8)
    assert found is not None
    assert found.reversal_s == pytest.approx(1.4, abs=0.006)
    assert found.peak_s == pytest.approx(1.65, abs=1e-3)


def test_no_reversal_is_told_as_none():
    time_s = np.arange(0.0, 3.0, 0.005)
    assert downswing(AxialCurve.through(time_s, 1.0 + time_s), 2.0, 2.5) is None
    assert downswing(AxialCurve.through(time_s, time_s - 9.0), 2.0, 2.5) is None


def test_takeaway_is_where_the_turn_away_passes_the_onset_rate():
    time_s = np.arange(0.0, 4.0, 0.005)
    velocity = swing_velocity(time_s, 2.0)
    at = takeaway(AxialCurve.through(time_s, velocity), 2.0)
    assert np.interp(at, time_s, velocity) == pytest.approx(-ONSET_RATE, rel=1e-3)
    assert 1.1 < at < 1.17


def test_a_waggle_before_a_pause_is_not_the_takeaway():
    time_s = np.arange(0.0, 4.0, 0.005)
    waggle = np.where((time_s > 0.5) & (time_s < 0.7), -1.0, 0.0)
    at = takeaway(AxialCurve.through(time_s, swing_velocity(time_s, 2.0) + waggle), 2.0)
    assert 1.1 < at < 1.17


def test_a_recording_that_begins_in_the_turn_away_takes_its_begin_as_takeaway():
    time_s = np.arange(1.5, 4.0, 0.005)
    curve = AxialCurve.through(time_s, swing_velocity(time_s, 2.0))
    assert takeaway(curve, 2.0) == 1.5


def test_values_read_at_a_time_are_those_of_the_spline():
    time_s = np.arange(0.0, 2.0, 0.01)
    curve = AxialCurve.through(time_s, np.sin(5.0 * time_s))
    spline = CubicSpline(time_s, np.sin(5.0 * time_s))
    for at in (-0.001, 0.0, 0.333, 1.0, 1.2345, 1.99, 1.995):
        expected = [float(spline(at, order)) for order in range(3)]
        assert curve.at(at) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    for start_s, end_s in ((0.0, 1.99), (0.333, 0.3337), (0.3, 1.2345)):
        angle = curve.angle(start_s, end_s)
        assert angle == pytest.approx(float(spline.integrate(start_s, end_s)), abs=1e-12)
