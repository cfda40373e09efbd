"""Whether the two sensors are worn the wrong way round, told by which turns faster in swings.

In full swings and in partial ones the upper back turns faster than the pelvis: 47 golfers of both
sexes, professionals and amateurs (Tinmark, Swedish School of Sport and Health Sciences, thesis
17:2007, abstract). Angular speed is looked at whatever its direction, so no calibration is needed.
"""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np

from sensors.source import Array
from sensors.wire import SegmentName

FAST_RADPS: Final = float(np.radians(300.0))
"""Faster than walking, bowing and slow drills, and reached by the downswing of most golfers."""
END_S: Final = 0.5
"""A swing is over when neither sensor was fast for so long."""
EXCESS: Final = 1.15
"""The pelvis sensor must be faster by this factor; the simulated golfers here have 0.66 to 0.86."""
SWINGS: Final = 3
"""In so many swings one after another: one alone may be a drill of the hips."""


class SwapWatch:
    """Follows both sensors; `swapped` holds the last word."""

    def __init__(self) -> None:
        self.swapped = False
        self._peaks: dict[SegmentName, float] = {}
        self._fast_s = -np.inf
        self._verdicts: deque[bool] = deque(maxlen=SWINGS)

    def push(self, segment: SegmentName, received_s: float, gyro: Array) -> bool:
        """Samples of a sensor (n, 3), rad/s. True: suspicion has just arisen."""
        peak = float(np.sqrt(np.max(np.einsum("ij,ij->i", gyro, gyro), initial=0.0)))
        arisen = False
        if self._peaks and received_s - self._fast_s > END_S:
            arisen = self._swing_ended()
        if peak > FAST_RADPS:
            self._fast_s = received_s
        if peak > FAST_RADPS or self._peaks:
            self._peaks[segment] = max(peak, self._peaks.get(segment, 0.0))
        return arisen

    def _swing_ended(self) -> bool:
        peaks, self._peaks = self._peaks, {}
        if len(peaks) < 2:  # one sensor was away
            return False
        self._verdicts.append(peaks["pelvis"] > EXCESS * peaks["upper_back"])
        was = self.swapped
        if len(self._verdicts) == SWINGS and len(set(self._verdicts)) == 1:
            self.swapped = self._verdicts[0]
        return self.swapped and not was
