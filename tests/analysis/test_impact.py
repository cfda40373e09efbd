"""Impact: a strike where an accelerometer shows one, else an estimate that says so."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.impact import ESTIMATE_U_S, STRIKE_U_STEPS, find_impact, strike_onset

PEAK_S = 2.0


def force(
    time_s: np.ndarray, strike_s: float | None = None, size: float = 30.0, seed: int = 5
) -> np.ndarray:
    """Gravity, a swing's own acceleration of 2 Hz, noise and a ring of 70 Hz."""
    rng = np.random.default_rng(seed)
    swing = 15.0 * np.exp(-(((time_s - PEAK_S) / 0.15) ** 2))
    out = np.stack((swing, 9.8 + 0.4 * swing, -0.5 * swing), axis=1)
    out += 0.05 * rng.standard_normal(out.shape)
    if strike_s is not None:
        since = np.clip(time_s - strike_s, 0.0, None)
        out[:, 1] += size * np.exp(-since / 0.008) * np.sin(2.0 * np.pi * 70.0 * since)
    return out


@pytest.mark.parametrize("strike_s", [1.93, 1.9987, 2.004, 2.09])
@pytest.mark.parametrize("rate_hz", [200.0, 400.0])
def test_a_strike_is_found_within_a_sample_or_so(strike_s: float, rate_hz: float):
    time_s = np.arange(0.0, 3.0, 1.0 / rate_hz)
    onset = strike_onset(time_s, force(time_s, strike_s), PEAK_S)
    assert onset == pytest.approx(strike_s, abs=1.5 / rate_hz)


def test_a_swing_without_a_strike_shows_none():
    time_s = np.arange(0.0, 3.0, 0.005)
    assert strike_onset(time_s, force(time_s), PEAK_S) is None


def test_a_footstep_long_before_the_peak_is_not_the_strike():
    time_s = np.arange(0.0, 3.0, 0.005)
    assert strike_onset(time_s, force(time_s, 1.5), PEAK_S) is None


def test_at_100_samples_a_second_no_strike_is_claimed():
    time_s = np.arange(0.0, 3.0, 0.01)
    assert strike_onset(time_s, force(time_s, 2.0, 80.0), PEAK_S) is None


def test_the_method_and_its_uncertainty_go_with_the_time():
    time_s = np.arange(0.0, 3.0, 0.005)
    still, struck = (time_s, force(time_s)), (time_s, force(time_s, 1.98))
    seen = find_impact(still, struck, PEAK_S)
    assert seen.method == "strike"
    assert seen.time_u_s == pytest.approx(STRIKE_U_STEPS / 200.0)
    assert find_impact(struck, still, PEAK_S).method == "strike"
    guessed = find_impact(still, still, PEAK_S)
    assert (guessed.method, guessed.time_s, guessed.time_u_s) == ("estimate", PEAK_S, ESTIMATE_U_S)
