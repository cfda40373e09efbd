"""Low-pass filtering without delay, on each sensor's own time stamps.

The filter is a fourth-order Butterworth run forward and backward: no phase shift, magnitude
1 / (1 + (f / f_c)^8). The usual choice for movement data is two passes of second order at 6-12 Hz
(common practice, no source), which is made for the noise of differentiated marker positions and
takes 0.1-1 % off a speed peak. A gyro needs no differentiation, so the cut-off can lie where the
peak is whole: near a peak the error is set by the lowest power of f / f_c in the magnitude, here
the eighth. A downswing that rises and falls as a raised cosine within 0.2 s each loses less than
0.02 % at 15 Hz, and white noise of a gyro at 200 Hz is brought down to about 37 %.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.signal import butter, sosfilt, sosfilt_zi

from analysis.quantiles import median
from analysis.samples import Array

CUTOFF_HZ = 15.0
"""-6 dB point of both passes together; argued above and measured in tests/analysis."""
ORDER = 4
"""Of one pass."""
UNEVEN_SHARE = 0.2
"""Steps may differ from the nominal one by this share before samples are put on an even grid:
the jitter left by a clock fit is far below it, a lost sample far above."""
_PAD_S = 0.2
"""Odd extension at each end, some settling times of the filter."""
_LARGEST_FILL_S = 2.0
"""A longer hole is not bridged: the pieces are filtered each by itself."""


def nominal_step_s(time_s: Array) -> float:
    """The step between samples, s, as the median over time_s (n,), n >= 2."""
    return median(np.diff(time_s))


def low_pass(time_s: Array, values: Array, *, cutoff_hz: float = CUTOFF_HZ) -> Array:
    """Values (n,) or (n, k) at time_s (n,) s, low-passed without delay -> same shape and times.

    Lost samples are bridged by monotone cubic interpolation before filtering and left out again
    after it; both sides of a hole of more than 2 s are filtered apart.
    """
    if time_s.size < 2:
        return values.copy()
    steps = np.diff(time_s)
    step_s = median(steps)
    holes = np.flatnonzero(steps > _LARGEST_FILL_S)
    if holes.size:
        cuts = holes + 1
        pieces = zip(np.split(time_s, cuts), np.split(values, cuts), strict=True)
        return np.concatenate([low_pass(t, v, cutoff_hz=cutoff_hz) for t, v in pieces])
    if np.abs(steps - step_s).max() <= UNEVEN_SHARE * step_s:
        return _filter(values, 1.0 / step_s, cutoff_hz)
    even_s = np.arange(time_s[0], time_s[-1] + 0.5 * step_s, step_s)
    filled = PchipInterpolator(time_s, values, extrapolate=True)(even_s)
    smooth = _filter(filled, 1.0 / step_s, cutoff_hz)
    return PchipInterpolator(even_s, smooth, extrapolate=True)(time_s)


def _filter(values: Array, rate_hz: float, cutoff_hz: float) -> Array:
    if cutoff_hz >= 0.45 * rate_hz:
        return values.copy()
    pad = min(int(np.ceil(_PAD_S * rate_hz)), values.shape[0] - 1)
    sections, settled = _sections(round(cutoff_hz / rate_hz, 4))
    flat = values.reshape(values.shape[0], -1)
    # turned about both ends, so that each end goes on as it comes
    before, after = 2.0 * flat[0] - flat[pad:0:-1], 2.0 * flat[-1] - flat[-2 : -pad - 2 : -1]
    padded = np.concatenate((before, flat, after))
    there, _ = sosfilt(sections, padded, axis=0, zi=settled * padded[0])
    back, _ = sosfilt(sections, there[::-1], axis=0, zi=settled * there[-1])
    smooth: Array = back[::-1][pad : pad + values.shape[0]].reshape(values.shape)
    return smooth


@lru_cache(maxsize=64)
def _sections(cutoff_share: float) -> tuple[Array, Array]:
    """Second-order sections of one pass whose two passes are down 6 dB at the cut-off, and their
    state (sections, 2, 1) when settled at 1."""
    sections = np.asarray(butter(ORDER, 2.0 * cutoff_share, output="sos"))
    return sections, sosfilt_zi(sections)[:, :, None]
