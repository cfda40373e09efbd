"""What each cause of error does to one segment's curves: sensitivities (JCGM 100:2008, 5.1.3).

A cause is a small constant (a turn of the mounting, a scale error, a late clock ...). To first
order it adds to the rates, in segment axes, some dw(t), and turns the segment in the world by
    r(t) = A(t) m - l + integral of A dw from address on,
with A the segment's axes in the world, m a wrong mounting and l a wrong vertical. The effects are
columns: of each cause by one unit, over the samples from address to just past the last event.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.signal import lfilter

from analysis import rotation
from analysis.kinematics import SegmentPath
from analysis.orientation import SegmentMotion
from analysis.results import Interval
from analysis.samples import Array

MOUNTING = slice(0, 3)
"""The sensor turned on its segment about x, y, z, rad."""
SCALE = slice(3, 6)
"""Relative error of each axis of the gyro."""
BIAS = slice(6, 9)
"""Gyro bias left: one standard uncertainty along each of three independent directions."""
LEVEL = slice(9, 11)
"""The vertical at address off about the world's x and z, rad."""
OFFSET = slice(11, 14)
"""Accelerometer offset along each axis of the segment, in units of gravity: it spoils the
vertical of the stand and of the address, and in a like posture the two cancel."""
RIDE_HZ = (8.845, 11.155)
RIDE_DAMPING = (0.132, 0.218)
"""Natural frequency, Hz, and damping ratio of a sensor that rides on soft tissue: Gauss-Legendre
points of 8 to 12 Hz and 0.10 to 0.25, within which a rider lies anywhere."""
RIDES = tuple(product(RIDE_HZ, RIDE_DAMPING))
"""All of equal weight."""
RIDE = slice(14, 14 + len(RIDES))
"""The sensor rides like a mass on a spring, each of RIDES."""
CLOCK = RIDE.stop
"""Time stamps late, s."""
CAUSES = CLOCK + 1

SLOPE_S = 0.01
"""s to either side over which slopes of effects are taken."""
BEFORE_S = 0.1
"""s of the curves before the address: what a ride does at first has settled by then."""
_FROM_OFFSET: Array = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
"""y x b: how an offset b turns a vertical that lies along y."""


@dataclass(frozen=True, slots=True)
class SegmentEffects:
    """Effects of CAUSES causes on a segment, in the golfer's signs; (n, CAUSES) unless said.

    axial rad/s; angle rad: its integral; turn rad, since address; turned (n, 3, CAUSES) rad, world
    axes; to_angles (n, 3, 3): what a small turn in world axes adds to turn, obliquity and tilt.
    """

    time_s: Array
    axial: Array
    angle: Array
    turn: Array
    turned: Array
    to_angles: Array

    def at(self, curve: Array, time_s: float) -> Array:
        """A curve's effects (CAUSES, ...) at a time, linear between samples."""
        row = min(max(int(self.time_s.searchsorted(time_s)) - 1, 0), self.time_s.size - 2)
        before, after = self.time_s[row : row + 2].tolist()
        share = min(max((float(time_s) - before) / (after - before), 0.0), 1.0)
        found: Array = (1.0 - share) * curve[row] + share * curve[row + 1]
        return found

    def along(self, curve: Array, times: Array) -> Array:
        """A curve's effects (k, CAUSES, ...) at times (k,), linear between samples."""
        row = np.searchsorted(self.time_s, times) - 1
        row = np.minimum(np.maximum(row, 0), self.time_s.size - 2)
        before = self.time_s[row]
        share = (times - before) / (self.time_s[row + 1] - before)
        share = np.minimum(np.maximum(share, 0.0), 1.0).reshape(-1, *(1,) * (curve.ndim - 1))
        found: Array = (1.0 - share) * curve[row] + share * curve[row + 1]
        return found

    def slope(self, curve: Array, time_s: float) -> Array:
        """The rate of change of a curve's effects around a time, a second."""
        change: Array = self.at(curve, time_s + SLOPE_S) - self.at(curve, time_s - SLOPE_S)
        return change / (2.0 * SLOPE_S)

    def bend(self, curve: Array, time_s: float) -> Array:
        """The second derivative of a curve's effects around a time, a second squared."""
        before, after = self.at(curve, time_s - SLOPE_S), self.at(curve, time_s + SLOPE_S)
        return np.asarray((before - 2.0 * self.at(curve, time_s) + after) / SLOPE_S**2)

    def posture(self, time_s: float) -> Array:
        """Effects (3, CAUSES) on turn since address, obliquity and forward tilt at a time, rad."""
        angles = self.at(self.to_angles, time_s) @ self.at(self.turned, time_s)
        angles[0] = self.at(self.turn, time_s)
        return np.asarray(angles)


def segment_effects(motion: SegmentMotion, path: SegmentPath, within: Interval) -> SegmentEffects:
    """Effects on a segment from just before the address, at the start of `within`, to its end."""
    spline = path.rates.spline
    ends = (max(within.start_s - BEFORE_S, float(spline.x[0])), within.end_s)
    first, last = np.searchsorted(motion.time_s, ends)
    rows = slice(int(first), int(last) + 1)
    time_s = motion.time_s[rows]
    zero = max(int(np.searchsorted(time_s, within.start_s)) - 1, 0)
    start = int(np.searchsorted(spline.x, time_s[0]))
    pieces = slice(start, start + time_s.size)
    # values and slopes at knots are the lowest coefficients; the last knot has no piece
    time_s = time_s[: spline.c[0, pieces].shape[0]]
    rate, acceleration = spline.c[3, pieces], spline.c[2, pieces]
    turned_by = rotation.multiply(path.to_address, motion.orientation[rows][: time_s.size])
    axes = rotation.to_matrix(rotation.normalise(turned_by))
    sensor = rotation.to_matrix(motion.mounting.rotation)
    added = _rates(rate, acceleration, sensor, _root(motion.bias_covariance))
    ride = np.zeros((time_s.size, 3, len(RIDES)))
    for k, (hertz, damping) in enumerate(RIDES):
        ride[:, :, k], added[:, :, RIDE.start + k] = _ride(time_s, acceleration, hertz, damping)
    turned = _turned(time_s, axes, added, zero)
    turned[:, :, RIDE] = axes @ ride
    turned[:, :, CLOCK] = -np.einsum("nij,nj->ni", axes, rate)
    sign = path.rates.sign
    to_angles = angle_rows(axes[:, :, 2]) * np.array([[sign], [sign], [-1.0]])
    turn = np.einsum("nj,njc->nc", to_angles[:, 0], turned)
    axial = sign * added[:, 1]
    return SegmentEffects(time_s, axial, _sum(time_s, axial), turn - turn[zero], turned, to_angles)


def angle_rows(right: Array) -> Array:
    """d(turn, obliquity, tilt of the sequence Y-X-Z)/d(small turn in world axes): (n, 3, 3).

    right (n, 3): the segment's right axis z in the world. turn = atan2(z_x, z_z), obliquity =
    -asin(z_y), tilt = atan2(x_y, y_y); the effects grow without bound as z nears the vertical.
    """
    x, y, z = right.T
    level = np.maximum(x * x + z * z, 1e-9)
    flat, rows = np.sqrt(level), np.zeros((x.size, 3, 3))
    tilt_x, tilt_z = x / level, z / level
    rows[:, 0, 0], rows[:, 0, 1], rows[:, 0, 2] = -tilt_x * y, 1.0, -tilt_z * y
    rows[:, 1, 0], rows[:, 1, 2] = z / flat, -x / flat
    rows[:, 2, 0], rows[:, 2, 2] = tilt_x, tilt_z
    return rows


def _rates(rate: Array, acceleration: Array, sensor: Array, bias: Array) -> Array:
    """What each cause adds to the rates, (n, 3, CAUSES), segment axes; riding is left out.

    sensor (3, 3): the sensor's axes as columns in segment axes; bias (3, 3): root of its
    covariance.
    """
    added = np.zeros((rate.shape[0], 3, CAUSES))
    x, y, z = rate.T
    # -m x w for a unit m along each axis
    added[:, 1, 0], added[:, 2, 0] = z, -y
    added[:, 0, 1], added[:, 2, 1] = -z, x
    added[:, 0, 2], added[:, 1, 2] = y, -x
    added[:, :, SCALE] = sensor * (rate @ sensor)[:, None, :]
    added[:, :, BIAS] = bias
    added[:, :, OFFSET] = _by_offset(added[:, :, MOUNTING])
    added[:, :, CLOCK] = -acceleration
    return added


def _turned(time_s: Array, axes: Array, added: Array, zero: int) -> Array:
    """How far each cause turns the segment in the world, (n, 3, CAUSES), rad, zero at a row where
    it adds up; riding is left out."""
    turned = np.zeros_like(added)
    turned[:, :, MOUNTING] = axes
    since = slice(SCALE.start, BIAS.stop)
    added_up = _sum(time_s, axes @ added[:, :, since])
    turned[:, :, since] = added_up - added_up[zero]
    turned[:, 0, LEVEL.start] = turned[:, 2, LEVEL.start + 1] = 1.0
    turned[:, :, OFFSET] = _by_offset(axes) - _FROM_OFFSET @ axes[zero]
    return turned


def _by_offset(turned: Array) -> Array:
    """What an offset along each axis does, by what a turn of the mounting about each does, (n, 3,
    3): turned @ _FROM_OFFSET."""
    by_offset = np.zeros_like(turned)
    np.negative(turned[:, :, 2], out=by_offset[:, :, 0])
    by_offset[:, :, 2] = turned[:, :, 0]
    return by_offset


def _ride(time_s: Array, acceleration: Array, hertz: float, damping: float) -> tuple[Array, Array]:
    """Turn of a riding sensor on its segment, from what that sensor itself shows, and its rate:
    (n, 3) each, rad and rad/s.

    The ride f of a segment with angle a is f'' + 2 d w f' + w^2 f = -a''. With the shown angle
    s = a + f this is 2 d w f' + w^2 f = -s'', of first order; s'' straight between samples.
    """
    stiffness = 2.0 * np.pi * hertz
    settling_s = 2.0 * damping / stiffness
    step_s = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    kept = float(np.exp(-step_s / settling_s))
    lagged = (1.0 - kept) * settling_s / step_s
    target = -acceleration / stiffness**2
    found = lfilter([1.0 - lagged, lagged - kept], [1.0, -kept], target - target[0], axis=0)
    ride: Array = np.asarray(found, dtype=np.float64) + target[0]
    return ride, (target - ride) / settling_s


def _root(covariance: Array) -> Array:
    found = np.linalg.eigh(covariance)
    root: Array = found.eigenvectors * np.sqrt(np.maximum(found.eigenvalues, 0.0))
    return root


def _sum(time_s: Array, values: Array) -> Array:
    """Integral along the first axis from the first sample on, trapezoids."""
    out = np.zeros(values.shape)
    pieces = values[1:] + values[:-1]
    steps = 0.5 * (time_s[1:] - time_s[:-1])
    pieces *= steps.reshape(-1, *(1,) * (values.ndim - 1))
    np.cumsum(pieces, axis=0, out=out[1:])
    return out
