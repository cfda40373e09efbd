"""Session times that are given once and stay: even, never back, without steps.

What has been stored is not stamped anew, so a better fit may only be approached. The rule: where
no sample is missing the times run on by the sample period, stretched or shortened by at most
0.1 %, 1 % in the first 20 s of a stream and while they are more than 3 ms off. So an integral
over the times is off by no more than that part; 3 ms between two sensors at 500 deg/s would be
1.5 deg, more than 1 % of a turn. While they are more than 0.1 s off, as where the first packets of
a stream came seconds late, nothing is made of the samples (the uncertainty says it), and the times
may go by a quarter faster or slower. Where samples are missing nothing is integrated, and the times
go to the fit at once, though never back.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sensors.source import Array

SLEW: Final = 0.001
"""A gyro's scale is uncertain by more than this even when calibrated."""
FAST_SLEW: Final = 0.01
_YOUNG_S: Final = 20.0
_FAR_S: Final = 0.003
ASTRAY_SLEW: Final = 0.25
_ASTRAY_S: Final = 0.1
"""More than a connection interval; far beyond the uncertainty from which on swings are left out."""
_APPROACH_S: Final = 1.0
"""Time constant of the approach while it is within the limit."""


class Stamper:
    """Gives one stream's samples their session times."""

    def __init__(self) -> None:
        self.lag_s = 0.0
        """How far the times given last are from those of the fit, s."""
        self._begun_s: float | None = None
        self._last_s = -np.inf
        self._next_s = 0.0

    def times(self, first_s: float, period_s: float, samples: int, *, missing: bool) -> Array:
        """Session times (samples,): by the fit the first is first_s, the steps are period_s."""
        if self._begun_s is None or missing:
            start_s = max(first_s, self._last_s + 0.5 * period_s)
            step_s = period_s
            self._begun_s = start_s if self._begun_s is None else self._begun_s
        else:
            start_s = self._next_s
            off_s = first_s - start_s
            fast = start_s - self._begun_s < _YOUNG_S or abs(off_s) > _FAR_S
            limit = FAST_SLEW if fast else SLEW
            limit = ASTRAY_SLEW if abs(off_s) > _ASTRAY_S else limit
            step_s = period_s * (1.0 + min(max(off_s / _APPROACH_S, -limit), limit))
        time_s = np.asarray(start_s + step_s * np.arange(samples))
        self._next_s = start_s + step_s * samples
        self._last_s = float(time_s[-1])
        self.lag_s = first_s - start_s
        return time_s
