"""How certain a segment's angles are: one standard uncertainty each (GUM, JCGM 100:2008, 5.1).

Every cause is a small rotation; its first-order effect on the three angles of the sequence Y-X-Z
is worked out at both times, so that what is the same at both cancels. Causes are independent:
gyro bias, scale and noise since the first time, the vertical, and how the sensor sits.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis import rotation
from analysis.orientation import SegmentMotion
from analysis.samples import Array

SCALE_U = 0.005 / np.sqrt(3.0)
"""Relative, each axis: within 0.5 % after a scale calibration (rectangular). A part as it comes is
only specified to within 3 %."""
OFFSET_U = 0.03 / 9.80665
"""rad of tilt: an accelerometer offset of 0.03 m/s^2, what is left after its maker's calibration
(own estimate; parts as they come are specified to 0.4 to 0.6 m/s^2)."""

SLOPE_S = 0.03
"""s to either side over which the angular acceleration is taken."""


def angle_covariance(
    motion: SegmentMotion,
    from_s: float,
    at_s: float,
    *,
    scale_u: float = SCALE_U,
    ride_hz: float | None = None,
) -> Array:
    """Covariance (3, 3), rad^2, of turn since `from_s` and of obliquity and tilt at `at_s`.

    scale_u: relative standard uncertainty of each gyro axis. ride_hz: natural frequency of a
    sensor that rides on soft tissue; it then trails the segment by its angular acceleration over
    (2 pi ride_hz)^2. None: rigidly worn. A mean over many swings does not shrink what scale,
    mounting and riding contribute.
    """
    rows = _rows(motion, from_s, at_s)
    turned = motion.orientation[rows]
    step = motion.time_s[rows]
    axes = rotation.to_matrix(turned)
    rate = motion.angular_velocity[rows]
    first, last = _sensitivity(axes[0]), _sensitivity(axes[-1])
    # since the first time, in world axes: J = d(rotation)/d(cause)
    bias = np.asarray(np.trapezoid(axes, step, axis=0))
    scale = np.asarray(np.trapezoid(axes * rate[:, None, :], step, axis=0))
    seconds = abs(float(step[-1] - step[0]))
    since = bias @ motion.bias_covariance @ bias.T + scale_u**2 * scale @ scale.T
    since += 0.5 * motion.noise_density**2 * seconds * np.eye(3)
    mounting = np.diag(
        np.square(
            (motion.mounting.tilt_u_rad, motion.mounting.heading_u_rad, motion.mounting.tilt_u_rad)
        )
    )
    upright = motion.tilt_u_rad**2 + OFFSET_U**2
    level = np.diag((upright, 0.0, upright))
    # turn is a difference of two times, obliquity and tilt are values at the second
    changed = np.diag([1.0, 0.0, 0.0])
    by_level = last - changed @ first
    by_mounting = last @ axes[-1] - changed @ first @ axes[0]
    since += _ride(motion, at_s, ride_hz, axes[-1])
    covariance: Array = (
        last @ since @ last.T
        + by_level @ level @ by_level.T
        + by_mounting @ mounting @ by_mounting.T
    )
    return covariance


def _rows(motion: SegmentMotion, from_s: float, at_s: float) -> npt.NDArray[np.intp]:
    """Rows from one time to the other, backwards where the second is the earlier."""
    found = np.searchsorted(motion.time_s, (from_s, at_s))
    first, last = (int(row) for row in np.minimum(found, motion.time_s.size - 1))
    if first <= last:
        return np.arange(first, last + 1)
    return np.arange(first, last - 1, -1)


def _ride(motion: SegmentMotion, at_s: float, ride_hz: float | None, axes: Array) -> Array:
    """Covariance (3, 3), world axes, of how far the sensor trails its segment at a time."""
    if ride_hz is None:
        return np.zeros((3, 3))
    near = np.abs(motion.time_s - at_s) <= SLOPE_S
    if np.count_nonzero(near) < 2:
        return np.zeros((3, 3))
    acceleration = np.polyfit(motion.time_s[near] - at_s, motion.angular_velocity[near], 1)[0]
    trailing = axes @ acceleration / (2.0 * np.pi * ride_hz) ** 2
    return np.outer(trailing, trailing)


def _sensitivity(axes: Array) -> Array:
    """d(turn, obliquity, tilt)/d(small rotation in world axes), (3, 3), at an orientation.

    With the right axis z and the long axis y of the segment in the world: turn = atan2(z_x, z_z),
    obliquity = -asin(z_y), tilt = atan2(x_y, y_y). Grows without bound as the right axis nears
    the vertical.
    """
    forward, up, right = axes.T
    level = right[0] ** 2 + right[2] ** 2
    moved = {name: _cross(axis) for name, axis in (("x", forward), ("y", up), ("z", right))}
    turn = (right[2] * moved["z"][0] - right[0] * moved["z"][2]) / level
    obliquity = -moved["z"][1] / np.sqrt(level)
    tilt = (up[1] * moved["x"][1] - forward[1] * moved["y"][1]) / level
    return np.stack((turn, obliquity, tilt))


def _cross(axis: Array) -> Array:
    """Matrix M with M r = r x axis: how a small rotation r moves an axis."""
    x, y, z = axis
    return np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])
