"""How evenly samples are stamped."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.stamps import lateness


def slowed(*, seconds=20.0, rate_hz=200.0, from_s=12.0, for_s=1.0, share=0.01):
    """Stamps that run slow by a share for some time, and by how much that makes them late."""
    time_s = 3.0 + np.arange(0.0, seconds, 1.0 / rate_hz)
    late_s = share * np.clip(time_s - from_s, 0.0, for_s)
    return time_s + late_s, late_s - late_s[-1]


def test_even_stamps_are_not_late_at_any_rate_or_drift():
    for rate_hz in (50.0, 99.3, 200.0 * (1.0 + 5e-5), 1000.0):
        time_s, _ = slowed(rate_hz=rate_hz, share=0.0)
        assert lateness(time_s, 100, 400) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0])
@pytest.mark.parametrize("share", [0.01, -0.01])
def test_what_stamps_were_drawn_by_is_read_off_them(rate_hz, share):
    time_s, late_s = slowed(rate_hz=rate_hz, share=share)
    first = int(np.searchsorted(time_s, 11.5))
    found = lateness(time_s, first, time_s.size)
    assert found == pytest.approx(late_s[first:], abs=1e-9)


def test_stamps_in_whole_milliseconds_are_even_to_a_millisecond():
    time_s = np.floor(1e3 * np.arange(0.0, 20.0, 1.0 / 104.0)) / 1e3
    assert np.abs(lateness(time_s, 1000, 1150)).max() < 0.0015


def test_a_hole_makes_nothing_late():
    time_s, _ = slowed(share=0.0)
    time_s = np.delete(time_s, slice(2400, 2440))
    assert lateness(time_s, 2300, 2600) == pytest.approx(0.0, abs=1e-9)


def test_a_short_record_says_nothing():
    time_s, _ = slowed(seconds=3.0, from_s=4.0)
    assert not lateness(time_s, 0, time_s.size).any()
