"""Where a block of swings lies: the mean, or the mean of its middle where some swings stray.

Sources: Welch BL. Biometrika 1938;29:350-362 and 1947;34:28-35 (means, unequal spreads). Yuen
KK. The two-sample trimmed t for unequal population variances. Biometrika 1974;61:165-170.
Iglewicz B, Hoaglin DC. How to Detect and Handle Outliers. ASQC 1993 (modified z-score).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.samples import Array

TRIMMED = 0.2
"""Share of swings cut off at each end of a trimmed mean (Yuen 1974 studies 0.05 to 0.25; 0.2 is
common practice)."""

STRAY_Z = 3.5
"""Modified z-score beyond which a value is a stray (Iglewicz and Hoaglin 1993)."""

FEWEST_TO_TRIM = 8
"""With fewer swings the middle is too small to tell its own spread: our simulation of 5 against
20 swings gave 7-8 % false alarms for the trimmed interval at a nominal 5 %."""


@dataclass(frozen=True, slots=True)
class Location:
    """Centre of a block, its variance from the spread of swings, and the dof behind that."""

    centre: float
    variance: float
    dof: float


def has_strays(values: Array) -> bool:
    """Whether a value lies further than STRAY_Z from the median: 0.6745 |x - median| / MAD."""
    deviation = np.abs(values - np.median(values))
    mad = float(np.median(deviation))
    return mad > 0.0 and bool((0.6745 * deviation > STRAY_Z * mad).any())


def mean_location(values: Array) -> Location:
    """Mean, s^2/n and n - 1, for (n,) values, n >= 2."""
    n = values.size
    return Location(float(values.mean()), float(values.var(ddof=1)) / n, n - 1)


def trimmed_location(values: Array) -> Location:
    """Trimmed mean of (n,) values with Yuen's variance (n - 1) s_w^2 / (h (h - 1)).

    h values are left after cutting floor(0.2 n) at each end; s_w is the SD after moving the cut
    ones to the nearest value left (winsorising); dof h - 1.
    """
    n = values.size
    cut = math.floor(TRIMMED * n)
    left = n - 2 * cut
    ordered = np.sort(values)
    winsorised = np.clip(ordered, ordered[cut], ordered[n - cut - 1])
    variance = (n - 1) * float(winsorised.var(ddof=1)) / (left * (left - 1))
    return Location(float(ordered[cut : n - cut].mean()), variance, left - 1)
