"""A gyro that averages between two outputs: from its means to the rate at each time stamp."""

from __future__ import annotations

import numpy as np

from analysis.samples import Array

LONGEST_STEP = 1.5
"""Beyond this many usual steps a sample was lost; the mean after it is of a usual step."""


def at_stamps(time_s: Array, mean: Array) -> Array:
    """Rate at each time stamp of a sensor whose samples are means over the step before the stamp.

    time_s (n,) s, increasing; mean (n, 3) rad/s -> (n, 3) rad/s. A mean stands for the middle of
    its step; between two middles the rate is a line, and where three steps in a row are whole the
    bend is added that makes it exact for a cubic over even steps: (7 (b + c) - (a + d)) / 12 of
    the means a, b before the stamp and c, d after it. The last rate goes on the line before it.
    """
    if time_s.size < 2:
        return mean.copy()
    step_s = np.diff(time_s)
    usual_s = float(np.median(step_s))
    whole = step_s <= LONGEST_STEP * usual_s
    half_s = 0.5 * np.concatenate(([usual_s], np.where(whole, step_s, usual_s)))
    slope = np.diff(mean, axis=0) / np.diff(time_s - half_s)[:, None]
    rate: Array = mean + half_s[:, None] * np.concatenate((slope, slope[-1:]))
    even = whole[:-2] & whole[1:-1] & whole[2:]
    rate[1:-2][even] -= (slope[2:] - slope[:-2])[even] * (usual_s / 12.0)
    return rate
