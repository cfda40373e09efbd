"""What each cause of error does to one segment's curves: sensitivities (JCGM 100:2008, 5.1.3).

A cause is a small constant (a turn of the mounting, a scale error, a late clock ...). To first
order it adds to the rates, in segment axes, some dw(t), and turns the segment in the world by
    r(t) = A(t) m - l + integral of A dw from address on,
with A the segment's axes in the world, m a wrong mounting and l a wrong vertical. So all effects
are sums of a few series with constant factors: the series of both segments are looked up at all
wanted times at once, and the effects are their products with small matrices.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from analysis import rotation
from analysis.kinematics import ORIENTATION, RATE, SegmentPath
from analysis.orientation import SegmentMotion
from analysis.pieces import Between, cumulative
from analysis.results import Fixing, Interval
from analysis.ride import LAG_S, SOFTNESS_S2
from analysis.samples import Array
from analysis.stamps import lateness

Index = npt.NDArray[np.intp]

MOUNTING = slice(0, 3)
"""The sensor turned on its segment about x, y, z, rad."""
SCALE = slice(3, 6)
"""Relative error of each axis of the gyro."""
BIAS = slice(6, 9)
"""Gyro bias left: one standard uncertainty along each of three independent directions."""
SLEW = 9
"""Stamps drawn to a clock over the swing, as much as they show themselves: `analysis.stamps`."""
LEVEL = slice(10, 12)
"""The vertical at address off about the world's x and z, rad."""
OFFSET = slice(12, 15)
"""Accelerometer offset along each axis of the segment, in units of gravity: it spoils the
vertical of the stand and of the address, and in a like posture the two cancel."""
RIDE_HZ = (8.845, 11.155)
RIDE_DAMPING = (0.132, 0.218)
"""Natural frequency, Hz, and damping ratio of a sensor that rides on soft tissue: Gauss-Legendre
points of 8 to 12 Hz and 0.10 to 0.25, within which a rider lies anywhere."""
RIDES = tuple(product(RIDE_HZ, RIDE_DAMPING))
"""All of equal weight."""
RIDE = slice(15, 15 + len(RIDES))
"""The sensor rides like a mass on a spring, each of RIDES."""
CLOCK = RIDE.stop
"""Time stamps late, s."""
CAUSES = CLOCK + 1

_STIFFNESS: Array = 2.0 * np.pi * np.array(RIDES)[:, 0]
_SOFTNESS_S2: Array = -1.0 / (_STIFFNESS * _STIFFNESS)
_SETTLING_S: Array = 2.0 * np.array(RIDES)[:, 1] / _STIFFNESS
"""Of each of RIDES: stiffness, natural angular frequency, rad/s; turn over a steady acceleration,
s^2; time in which it settles, s."""
BEFORE_S = 0.1
"""s of the curves before the address: what a ride does at first has settled by then."""
_FROM_OFFSET: Array = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
"""y x b: how an offset b turns a vertical that lies along y."""
_AXES, _SCALED, _ADDED, _SLEWED = slice(0, 3), slice(3, 6), slice(6, 9), 9
"""Rows of `TrunkSeries.world`."""
_FEATURES = 6 + len(RIDES)
"""Series that the effects on an axial velocity are made of: the rate about three axes, one, the
acceleration about the long axis, it times how late the stamps are, and the rate of each ride about
it."""


@dataclass(frozen=True, slots=True)
class TrunkSeries:
    """What the effects on both segments are made of, at k times; pelvis, upper back.

    world (2, 3, 10, k), world axis first: the segment's axes, and from address on the integrals of
    the sensor's axes each times the rate about it, rad, of the segment's axes, s, and of the
    acceleration times how late the stamps are, rad. rate (2, 3, k) rad/s, segment axes; ride (2, 3,
    RIDES, k) rad, segment axes; axial and angle (2, FEATURES, k): see there, and their integrals;
    late_s (2, k). upright (2, 3, 3): what an offset did to the vertical at
    address. sensor, bias (2, 3, 3): the sensor's axes as columns in segment axes, and a root of the
    bias's covariance. sign +1 where toward the target is to the left.
    """

    times: Array
    world: Array
    rate: Array
    ride: Array
    axial: Array
    angle: Array
    late_s: Array
    upright: Array
    sensor: Array
    bias: Array
    sign: float

    def axial_effects(self) -> Array:
        """What one unit of each cause adds to a unit of each axial feature, (2, FEATURES, CAUSES),
        in the golfer's sign."""
        by = np.zeros((2, _FEATURES, CAUSES))
        # -m x w for a unit m along each axis; what an offset does is the same, x and z exchanged
        by[:, 2, MOUNTING.start] = by[:, 2, OFFSET.start + 2] = 1.0
        by[:, 0, MOUNTING.start + 2], by[:, 0, OFFSET.start] = -1.0, 1.0
        by[:, :3, SCALE] = self.sensor * self.sensor[:, 1:2]
        by[:, 3, BIAS] = self.bias[:, 1]
        by[:, 4, CLOCK] = by[:, 5, SLEW] = -1.0
        for ride in range(len(RIDES)):
            by[:, 6 + ride, RIDE.start + ride] = 1.0
        return self.sign * by

    def about(self, direction: Array, columns: Index) -> Array:
        """How far each cause turns the segments in the world about directions (2, 3, m), rad, at
        the times of m columns: (2, CAUSES, m)."""
        turned = np.add.reduce(direction[:, :, None] * self.world[..., columns], axis=1)
        axes, rate = turned[:, _AXES], self.rate[..., columns]
        effects = np.empty((2, CAUSES, columns.size))
        effects[:, MOUNTING], effects[:, SCALE] = axes, turned[:, _SCALED]
        effects[:, BIAS] = self.bias.transpose(0, 2, 1) @ turned[:, _ADDED]
        effects[:, SLEW] = -turned[:, _SLEWED]
        effects[:, LEVEL] = direction[:, ::2]
        # turned @ _FROM_OFFSET, against what the offset did at address
        offset = effects[:, OFFSET]
        np.matmul(-self.upright.transpose(0, 2, 1), direction, out=offset)
        offset[:, 0] -= axes[:, 2]
        offset[:, 2] += axes[:, 0]
        effects[:, RIDE] = np.add.reduce(axes[:, :, None] * self.ride[..., columns], axis=1)
        effects[:, CLOCK] = -np.add.reduce(axes * rate, axis=1)
        return effects

    def velocity(self) -> Array:
        """Angular velocity in world axes, (2, 3, k) rad/s."""
        return np.asarray(np.add.reduce(self.world[:, :, _AXES] * self.rate[:, None], axis=2))

    def angle_rows(self) -> Array:
        """What a small turn in world axes adds to turn, obliquity and forward tilt, in the
        golfer's signs: (3, 2, 3, k), angle first."""
        rows = angle_rows(self.world[:, :, 2])
        rows[:2] *= self.sign
        np.negative(rows[2], out=rows[2])
        return rows


def trunk_series(
    motions: tuple[SegmentMotion, SegmentMotion],
    paths: tuple[SegmentPath, SegmentPath],
    within: Interval,
    times: Array,
) -> TrunkSeries:
    """Series of both segments at times (k,) s, of which the first is the address, at the start of
    `within`; read from the samples up to its end, linear in between."""
    sensor = np.array([rotation.to_matrix(motion.mounting.rotation) for motion in motions])
    rows = np.array(
        [
            _series(path, within, times, axes, motion)
            for motion, path, axes in zip(motions, paths, sensor, strict=True)
        ]
    )
    world = rows[:, :30].reshape(2, 3, 10, -1)
    world[:, :, 3:] -= world[:, :, 3:, :1].copy()
    rate, turned, acceleration = rows[:, 30:33], rows[:, 33:36], rows[:, 36:38]
    slewed, late_s = rows[:, 38:39], rows[:, 39]
    ride, riding = rows[:, 40:52].reshape(2, 3, len(RIDES), -1), rows[:, 52:]
    one = np.ones((2, 1, times.size))
    return TrunkSeries(
        times,
        world,
        rate,
        ride,
        np.concatenate((rate, one, acceleration, riding), axis=1),
        np.concatenate((turned, one * times, rate[:, 1:2], slewed, ride[:, 1]), axis=1),
        late_s,
        _FROM_OFFSET @ world[:, :, _AXES, 0],
        sensor,
        _roots(np.array([motion.bias_covariance for motion in motions])),
        paths[0].rates.sign,
    )


def _series(
    path: SegmentPath, within: Interval, times: Array, sensor: Array, motion: SegmentMotion
) -> Array:
    """Rows (56, k) of one segment, in the order in which `trunk_series` takes them apart."""
    curves = path.curves
    ends = (max(within.start_s - BEFORE_S, float(curves.time_s[0])), within.end_s)
    first, last = curves.time_s.searchsorted(ends).tolist()
    part = slice(first, min(last + 1, curves.pieces.shape[2]))
    # values and slopes at samples are the lowest coefficients; the last sample has no piece
    time_s, value, slope = curves.time_s[part], curves.pieces[3, :, part], curves.pieces[2, :, part]
    rate, acceleration = value[RATE], slope[RATE]
    row = int(motion.time_s.searchsorted(time_s[0]))
    late_s = lateness(motion.time_s, row, row + time_s.size, motion.step_s)
    rows, slewed = np.empty((52 + len(RIDES), time_s.size)), acceleration * late_s
    axes = rotation.to_matrix(value[ORIENTATION].T).transpose(1, 2, 0)
    summed = np.empty((25, time_s.size))
    turned = summed[:21].reshape(3, 7, -1)
    np.multiply(sensor.T @ axes, sensor.T @ rate, out=turned[:, :3])
    turned[:, 3:6], turned[:, 6] = axes, np.add.reduce(axes * slewed, axis=1)
    summed[21:24], summed[24] = rate, slewed[1]
    integral = cumulative(time_s, summed)
    world = rows[:30].reshape(3, 10, -1)
    world[:, _AXES], world[:, 3:] = axes, integral[:21].reshape(3, 7, -1)
    rows[30:33], rows[33:36], rows[36] = rate, integral[21:24], acceleration[1]
    rows[37], rows[38], rows[39] = slewed[1], integral[24], late_s
    rides = rows[40:52].reshape(3, len(RIDES), -1)
    of_rides = _rides_left if motion.mounting.fixing is Fixing.STRAPPED else _rides
    rides[:], rows[52:] = of_rides(time_s, acceleration)
    return Between.of(times, time_s)(rows)


def angle_rows(right: Array) -> Array:
    """d(turn, obliquity, tilt of the sequence Y-X-Z)/d(small turn in world axes), angle first:
    (3, ..., 3, k).

    right (..., 3, k): the segment's right axis z in the world. turn = atan2(z_x, z_z), obliquity =
    -asin(z_y), tilt = atan2(x_y, y_y); the effects grow without bound as z nears the vertical.
    """
    x, y, z = (right[..., axis, :] for axis in range(3))
    level = np.maximum(x * x + z * z, 1e-9)
    flat, rows = np.sqrt(level), np.zeros((3, *right.shape))
    turn, obliquity, tilt = rows
    tilt[..., 0, :], tilt[..., 2, :] = x / level, z / level
    turn[..., 0, :], turn[..., 1, :], turn[..., 2, :] = (
        -tilt[..., 0, :] * y,
        1.0,
        -tilt[..., 2, :] * y,
    )
    obliquity[..., 0, :], obliquity[..., 2, :] = z / flat, -x / flat
    return rows


def _rides(time_s: Array, acceleration: Array) -> tuple[Array, Array]:
    """Turn of a sensor on its segment by each of RIDES, (3, RIDES, n) rad, from the acceleration
    (3, n) rad/s^2 that the sensor itself shows, and its rate about the long axis, (RIDES, n) rad/s.

    The ride f of a segment with angle a is f'' + 2 d w f' + w^2 f = -a''. With the shown angle
    s = a + f this is 2 d w f' + w^2 f = -s'', of first order; s'' straight between samples.
    """
    lagged = np.array([_lagged(time_s, acceleration, settling) for settling in _SETTLING_S])
    rate = (acceleration[1] - lagged[:, 1]) * (_SOFTNESS_S2 / _SETTLING_S)[:, None]
    lagged *= _SOFTNESS_S2[:, None, None]
    return lagged.transpose(1, 0, 2), rate


def _rides_left(time_s: Array, acceleration: Array) -> tuple[Array, Array]:
    """The same where the mean ride was undone (`analysis.ride`): what that leaves of them."""
    each = [_ride_left(time_s, acceleration, *ride) for ride in RIDES]
    return np.stack([turn for turn, _ in each], axis=1), np.array([rate for _, rate in each])


def _ride_left(
    time_s: Array, acceleration: Array, hertz: float, damping: float
) -> tuple[Array, Array]:
    """Turn (3, n) rad and rate (n,) rad/s that undoing leaves of one ride.

    The acceleration is then nearly the segment's own, and f'' + 2 d w f' + w^2 f = -a'' as it is:
    with p a root of it, f is the imaginary part of z over that of p, z' = p z - a''. Undoing adds
    the shown s'' = -(2 d w f' + w^2 f), late and over the mean w^2.
    """
    natural = 2.0 * np.pi * hertz
    root = natural * complex(-damping, np.sqrt(1.0 - damping**2))
    target = -acceleration
    lagged = _lagged(time_s, target, -1.0 / root)
    ride, speed = -(lagged / root).imag / root.imag, -lagged.imag / root.imag
    shown = 2.0 * root.real * speed - natural**2 * ride
    change = 2.0 * root.real * (target[1] + shown[1]) - natural**2 * speed[1]
    late = time_s - LAG_S
    undone = np.array([np.interp(late, time_s, row) for row in (*shown, change)])
    undone *= SOFTNESS_S2
    return ride + undone[:3], speed[1] + undone[3]


def _lagged(time_s: Array, target: Array, settling_s: complex) -> Array:
    """y of y' = (target - y) / settling_s, settled at first; target (3, n) straight between
    samples."""
    step_s = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    kept = np.exp(-step_s / settling_s)
    lagged = (1.0 - kept) * settling_s / step_s
    start = target[:, :1]
    found = np.asarray(lfilter([1.0 - lagged, lagged - kept], [1.0, -kept], target - start))
    found += start
    return found


def _roots(covariances: Array) -> Array:
    """A root of each covariance, (..., 3, 3)."""
    found = np.linalg.eigh(covariances)
    roots: Array = found.eigenvectors * np.sqrt(np.maximum(found.eigenvalues, 0.0))[..., None, :]
    return roots
