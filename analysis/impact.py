"""When the club met the ball, as far as two torso sensors can tell.

A strike runs through the body as a short ring far above the frequencies of the swing. Where an
accelerometer shows one near the upper back's peak speed, its onset is the time of impact.
Elsewhere impact is estimated as the time of the upper back's peak speed. Published work puts that
peak at 73 % of the downswing in one golfer (Vena et al. 2011, Sports Eng 13) and past impact in
professionals (Steele et al. 2018, Ann Rehabil Med 42:713-721), so the estimate may be off by some
40 ms either way (own reading of these two; no published error of such an estimate).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.signal import butter, lfilter

from analysis.filtering import nominal_step_s
from analysis.rotation import squared_length
from analysis.samples import Array

ESTIMATE_U_S = 0.04
"""One standard uncertainty of the estimate, s; see above."""
STRIKE_U_STEPS = 1.0 / np.sqrt(12.0)
"""And of a strike's onset, in steps between samples: it lies anywhere between two (rectangular)."""
STRIKE_WITHIN_S = (0.12, 0.12)
"""A strike is looked for so long before and after the upper back's peak speed."""
STRIKE_BAND_HZ = 40.0
"""The ring is what lies above; a swing's own acceleration lies below 15 Hz."""
LEAST_STRIKE = 6.0
"""m/s^2; footwork and clothes stay below."""
STRIKE_OVER_REST = 6.0
"""The ring is so much greater than the usual size of the same band before it."""
LEAST_SAMPLES = 15
"""Fewer near the peak, or before it to compare with, show no strike."""
ONSET_SHARE = 0.1
"""The ring begins before the first sample that reaches this share of its greatest size, and that
stands out from what was usual before it."""
ONSET_OVER_REST = 4.0


@dataclass(frozen=True, slots=True)
class Impact:
    """Time of impact, s; method 'strike' or 'estimate'; one standard uncertainty, s."""

    time_s: float
    method: str
    time_u_s: float


def find_impact(
    pelvis: tuple[Array, Array], upper_back: tuple[Array, Array], peak_s: float
) -> Impact:
    """Impact near the upper back's peak speed at `peak_s`, s.

    pelvis, upper_back: time_s (n,) s and specific force (n, 3) m/s^2.
    """
    for time_s, force in (upper_back, pelvis):
        onset = strike_onset(time_s, force, peak_s)
        if onset is not None:
            return Impact(onset, "strike", float(STRIKE_U_STEPS * nominal_step_s(time_s)))
    return Impact(peak_s, "estimate", ESTIMATE_U_S)


def strike_onset(time_s: Array, force: Array, peak_s: float) -> float | None:
    """Onset of a strike's ring near `peak_s`, s; None where there is none.

    The high-pass filter runs forward only, so nothing of the ring shows before its onset. Below
    2.5 times STRIKE_BAND_HZ of samples a second a ring cannot be told from the swing.
    """
    before_s, after_s = STRIKE_WITHIN_S
    first, last = time_s.searchsorted((peak_s - before_s - 0.3, peak_s + after_s)).tolist()
    if last - first < 2 * LEAST_SAMPLES:
        return None
    time_s = time_s[first:last]
    share = STRIKE_BAND_HZ * nominal_step_s(time_s)
    if share > 0.4:
        return None
    above, below = _high_pass(round(share, 4))
    shaken = force[first:last].T - force[first][:, None]
    ring = np.sqrt(squared_length(lfilter(above, below, shaken).T))
    begin = int(time_s.searchsorted(peak_s - before_s))
    rest, near = ring[:begin], ring[begin:]
    if min(rest.size, near.size) < LEAST_SAMPLES:
        return None
    settled = rest[rest.size // 2 :]
    usual = math.sqrt(np.add.reduce(settled * settled) / settled.size)
    greatest = float(near.max())
    if greatest < max(LEAST_STRIKE, STRIKE_OVER_REST * usual):
        return None
    stands_out = near >= max(ONSET_SHARE * greatest, ONSET_OVER_REST * usual)
    onset = begin + int(stands_out.argmax())
    return float(0.5 * (time_s[onset - 1] + time_s[onset]))


@lru_cache(maxsize=64)
def _high_pass(cutoff_share: float) -> tuple[Array, Array]:
    above, below = butter(2, 2.0 * cutoff_share, btype="highpass")
    return above, below
