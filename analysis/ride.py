"""A sensor strapped on over skin and cloth rides on its segment; most of that can be undone.

The ride is taken as a mass on a lightly damped spring (natural frequency 8 to 12 Hz, damping ratio
0.10 to 0.25: the population that `analysis.error_causes` describes; no published figure for these
two places on the body). It is undone only where the user says that the sensors are strapped on: a
sensor on a rigid plate does not ride, and its own samples cannot tell the two apart.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.filtering import low_pass
from analysis.samples import Array

SOFTNESS_S2: Final = 1.0 / ((2.0 * np.pi) ** 2 * 8.0 * 12.0)
"""s^2: 1 / (natural angular frequency)^2, its mean over springs spread evenly from 8 to 12 Hz."""
LAG_S: Final = 0.0055
"""s: 2 d / w, by which damping delays the ride behind the acceleration that causes it; of a
damping ratio of 0.17 at 9.8 Hz, the middle of the population."""


def without_ride(time_s: Array, gyro: Array) -> Array:
    """Angular rate of the segment (n, 3), rad/s, from that of a sensor that rides on it.

    time_s (n,) s, increasing; gyro (n, 3) rad/s. With s the angle the sensor shows and f its ride,
    2 d w f' + w^2 f = -s'': far below w the ride is the acceleration, divided by w^2 and 2 d / w
    late. So the ride's rate comes from the second derivative of the shown rate, low-passed first
    since differences grow with frequency. Fewer than three samples are given back.
    """
    if time_s.size < 3:
        return gyro
    bend = np.gradient(np.gradient(low_pass(time_s, gyro), time_s, axis=0), time_s, axis=0)
    late = time_s - LAG_S
    ride = np.stack([np.interp(late, time_s, axis) for axis in bend.T], axis=1)
    return np.asarray(gyro + SOFTNESS_S2 * ride)
