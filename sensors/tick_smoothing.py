"""Even sample times out of a device's whole ticks.

A tick of 1 ms says when a sample was taken to within half of it only; a sensor samples far more
evenly than that. A line through the ticks of the last packets gives the sample times between the
ticks, and the period of the device's own sampling oscillator.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from sensors.source import Ticks

_MEMORY_S: Final = 24.0
"""Where a sample period is nearly a whole number of ticks their rounding changes slowly, and a
shorter memory follows it: 24 s do so from a period 40 ppm off on. A sampling oscillator whose
rate moves by 0.3 ppm a second leaves the line by 0.03 ms (of the square of the memory a sixth)."""
_ROUNDED: Final = 0.33
_ROUNDED_A_CYCLE: Final = 0.22
"""Ticks, root mean square at the end of a line through whole ticks that runs through few cycles of
their rounding: computed with this filter, from a quarter of a cycle to 8."""
_ASTRAY_TICKS: Final = 2.5
_ASTRAY_PERIODS: Final = 0.25
"""A tick further off than both of these is no rounding: sampling went on at another time."""


class TickSmoother:
    """Follows one stream; times are in the device's own nominal seconds.

    Least squares with growing memory, then with fading memory (an alpha-beta filter; gains as in
    the textbook growing-memory form, from memory).
    """

    def __init__(self, tick_s: float, rate_hz: float) -> None:
        self.tick_s = tick_s
        self.period_s = 1.0 / rate_hz
        self._next_s: float | None = None
        self._packets = 0
        self._memory = 2
        self._samples = 1

    @property
    def unsettled_s(self) -> float:
        """Standard uncertainty of the time given last, s, beyond what it will settle to.

        That of the end of a line through equally good ticks; more where a packet is so nearly a
        whole number of ticks, or of half ticks, that their rounding runs through few cycles.
        """
        line = 2.0 * np.sqrt((1.0 / self._packets - 1.0 / self._memory) / 12.0)
        ticks = self._samples * self.period_s / self.tick_s
        slow = max(self._rounding(ticks), 0.5 * self._rounding(2.0 * ticks))
        return self.tick_s * math.hypot(line, slow)

    def _rounding(self, ticks: float) -> float:
        cycles = self._packets * abs(ticks - round(ticks))
        return min(_ROUNDED, _ROUNDED_A_CYCLE / max(cycles, 1e-9))

    def first_s(self, ticks: Ticks, lost_before: int) -> float:
        """Device time of a packet's first sample; ticks (n,), with lost_before missing before."""
        # A tick is counted from its start on: on average half of it has passed.
        mean_tick = int(ticks.sum()) / len(ticks)
        seen_s = (mean_tick + 0.5) * self.tick_s - 0.5 * (len(ticks) - 1) * self.period_s
        if self._next_s is None:
            return self._start(seen_s, len(ticks))
        expected_s = self._next_s + lost_before * self.period_s
        off_s = seen_s - expected_s
        allowed = max(_ASTRAY_TICKS * self.tick_s, _ASTRAY_PERIODS * self.period_s)
        if abs(off_s) > allowed:
            return self._start(seen_s, len(ticks))
        self._packets = k = min(self._packets + 1, self._memory)
        first_s = expected_s + off_s * 2.0 * (2 * k - 1) / (k * (k + 1))
        self.period_s += off_s / len(ticks) * 6.0 / (k * (k + 1))
        self._next_s = first_s + len(ticks) * self.period_s
        return first_s

    def _start(self, seen_s: float, samples: int) -> float:
        self._packets = 1
        self._samples = samples
        self._memory = max(2, round(_MEMORY_S / (samples * self.period_s)))
        self._next_s = seen_s + samples * self.period_s
        return seen_s
