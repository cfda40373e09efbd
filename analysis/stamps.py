"""How evenly a sensor's samples are stamped.

A sensor samples evenly: its oscillator wanders by some millionths over a window. Stamps that do not
run evenly are drawn to a clock that is still being learnt, or that has just been put right, and a
duration between two of them is off by as much as they were drawn in between.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.filtering import nominal_step_s
from analysis.quantiles import median
from analysis.samples import Array

SPAN_S: Final = 2.0
"""s over which steps are averaged: stamps in whole milliseconds are even to 0.02 % over it."""
LONGEST_STEP: Final = 1.5
"""A step beyond so many usual ones is a hole: how late it makes what follows cannot be told."""


def lateness(time_s: Array, first: int, last: int, step_s: float | None = None) -> Array:
    """How much later rows first <= row < last are stamped than even samples that end like them, s.

    time_s (n,) s, all stamps at hand, the longer the better: the usual step is the median over
    spans of SPAN_S. step_s: the usual step, s, where it is known. Zero where they are too few to
    tell.
    """
    late = np.zeros(max(last - first, 0))
    if late.size < 2 or time_s[-1] - time_s[0] < 2.0 * SPAN_S:
        return late
    span = round(SPAN_S / (step_s or nominal_step_s(time_s)))
    usual_s = median(time_s[span:] - time_s[:-span]) / span
    off = time_s[first + 1 : last] - time_s[first : last - 1] - usual_s
    off[off > (LONGEST_STEP - 1.0) * usual_s] = 0.0
    late[:-1] = -np.cumsum(off[::-1])[::-1]
    return late
