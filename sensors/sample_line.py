"""Counts a stream's samples, lost ones included, and follows the device's clock past its wraps."""

from __future__ import annotations

import numpy as np

from sensors.source import Ticks


class SampleLine:
    """One stream from the switching on of its sensor. ticks_per_sample: as the rate is stated."""

    def __init__(self, ticks_per_sample: float) -> None:
        self._ticks_per_sample = ticks_per_sample
        self._next = 0
        self._handed_on = 0
        self._clock: tuple[int, int] | None = None

    def place(self, lost: int, steps: Ticks, tick: int | None, span: int) -> tuple[int, Ticks]:
        """Number of a packet's first sample and ticks (k,) of all, after `lost` missing ones.

        steps (k,): ticks since the first sample; tick: of the first, as sent, wrapping at span.
        Without a tick the numbers stand for it.
        """
        number = self._next + lost
        self._next = number + len(steps)
        if tick is None:
            return number, number + np.arange(len(steps), dtype=np.int64)
        if self._clock is not None:
            last_number, last_tick = self._clock
            expected = last_tick + round((number - last_number) * self._ticks_per_sample)
            tick += span * ((expected - tick + span // 2) // span)
        self._clock = (number, tick)
        return number, tick + steps

    def pass_over(self, count: int) -> None:
        """Samples that came, but not as numbers."""
        self._next += count

    def hand_on(self, number: int, count: int) -> int:
        """Notes that a packet's samples leave the decoder; how many are missing before them."""
        lost = number - self._handed_on
        self._handed_on = number + count
        return lost
