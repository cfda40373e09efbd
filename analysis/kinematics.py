"""Both segments' motion over one swing, on one time line and in the golfer's signs.

Each sensor has its own time stamps. Orientation between them is interpolated by cubic Hermite
pieces through the quaternions with the derivative that the gyro gives (error of fourth order in
the step), so both can be asked at any common time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis import rotation
from analysis.events import AxialCurve
from analysis.filtering import low_pass
from analysis.orientation import SegmentMotion
from analysis.pieces import Cubics, hermite_through, spline_through
from analysis.results import Handedness, Interval
from analysis.samples import Array

GRID_S = 0.005
"""Step of the common time line of curves."""
_UNTWIST_STEPS = 4
"""Each leaves a few hundredths of the twist it started from."""
ORIENTATION, RATE = slice(0, 4), slice(4, 7)
"""Curves of a segment's path: its quaternion, segment-to-world, and its angular velocity."""

_Quaternion = tuple[float, float, float, float]
_HALF_TURN: _Quaternion = (0.0, 0.0, 1.0, 0.0)
"""About the vertical."""


def target_sign(handedness: Handedness) -> float:
    """Sign of a turn about the upward axis that goes toward the target.

    A right-hander's target lies to the left of where the golfer faces, which is a positive turn.
    """
    return 1.0 if handedness is Handedness.RIGHT else -1.0


@dataclass(frozen=True, slots=True)
class Rates:
    """Filtered angular velocity of a segment over a stretch of time.

    sign +1 where toward the target is to the left; axial: about its own long axis, toward the
    target positive; spline: rad/s about the three segment axes.
    """

    sign: float
    axial: AxialCurve
    spline: Cubics


@dataclass(frozen=True, slots=True)
class SegmentPath:
    """A segment around a swing.

    curves: ORIENTATION, whose quaternions are nearly of unit length between samples, and RATE,
    rad/s in segment axes. address: the quaternion at address (w, x, y, z); heading: the heading
    there, rad, from which the turn is counted.
    """

    rates: Rates
    curves: Cubics
    address: _Quaternion
    heading: float

    def headed(self, by: float) -> SegmentPath:
        """The same motion with everything turned about the vertical, rad."""
        cosine, sine = math.cos(0.5 * by), math.sin(0.5 * by)
        turn = np.array(
            [
                [cosine, 0.0, -sine, 0.0],
                [0.0, cosine, 0.0, sine],
                [sine, 0.0, cosine, 0.0],
                [0.0, -sine, 0.0, cosine],
            ]
        )
        pieces = self.curves.pieces.copy()
        pieces[:, ORIENTATION] = turn @ pieces[:, ORIENTATION]
        curves = Cubics(self.curves.time_s, pieces)
        address = _product((cosine, 0.0, sine, 0.0), self.address)
        return SegmentPath(self.rates, curves, address, self.heading + by)


@dataclass(frozen=True, slots=True)
class Postures:
    """Pelvis and upper back at n times.

    times (n,) s. orientation (2, n, 4): segment-to-world; rate (2, n, 3) rad/s, segment axes,
    filtered. turn (2, n) rad: since address, toward the target. joint (n,) rad: axial rotation of
    the spine joint angles, positive with the upper back further away from the target, of paths
    that are `untwisted`. sign +1 where toward the target is to the left.
    """

    times: Array
    orientation: Array
    rate: Array
    turn: Array
    joint: Array
    sign: float

    @classmethod
    def at(cls, paths: tuple[SegmentPath, SegmentPath], times: Array) -> Postures:
        """Of two paths at times (n,) s of both."""
        curves, sign = np.array([path.curves.at(times) for path in paths]), paths[0].rates.sign
        orientation = rotation.normalise(curves[:, ORIENTATION].transpose(0, 2, 1))
        at_address = np.array([[path.heading] for path in paths])
        return cls(
            times,
            orientation,
            curves[:, RATE].transpose(0, 2, 1),
            sign * _wrapped(rotation.heading(orientation) - at_address),
            -sign * rotation.spine_axial_rotation(orientation[0], orientation[1]),
            sign,
        )

    def rows(self, part: slice) -> Postures:
        """Those at some of the times."""
        return Postures(
            self.times[part],
            self.orientation[:, part],
            self.rate[:, part],
            self.turn[:, part],
            self.joint[part],
            self.sign,
        )

    def turn_rate(self) -> Array:
        """How fast each turns toward the target, (2, n) rad/s.

        From the angular velocity w in segment axes: (w_x sin c + w_y cos c) / cos b, with b and c
        the second and third angle of the sequence Y-X-Z.
        """
        # the heights of the segment's forward and upward axes: cos b times sin c and cos c
        forward, upward = rotation.heights(self.orientation)
        along = self.rate[..., 0] * forward + self.rate[..., 1] * upward
        return np.asarray(self.sign * along / (forward * forward + upward * upward))

    def axial(self) -> Array:
        """Velocity of each about its own long axis, (2, n) rad/s, toward the target."""
        return self.sign * self.rate[..., 1]

    def angles(self, row: int) -> Array:
        """Turn since address, obliquity with the lead side up and forward tilt of each at one of
        the times, (2, 3) rad, in the golfer's signs."""
        angles = rotation.cardan_yxz(self.orientation[:, row])
        angles *= np.array([self.sign, self.sign, -1.0])
        angles[:, 0] = self.turn[:, row]
        return angles


def filtered_rates(motion: SegmentMotion, stretch: Interval, sign: float) -> Rates:
    """Angular velocity over a stretch of time, low-passed."""
    rows = _rows(motion.time_s, stretch)
    time_s = motion.time_s[rows]
    smooth = low_pass(time_s, motion.angular_velocity[rows])
    spline = spline_through(time_s, smooth)
    axial = AxialCurve(time_s, sign * smooth[:, 1], sign * spline.pieces[:, 1])
    return Rates(sign, axial, spline)


def segment_path(
    motion: SegmentMotion, rates: Rates, stretch: Interval, address_s: float
) -> SegmentPath:
    """Path over a stretch of time that lies within that of the rates and holds the address."""
    rows = _rows(motion.time_s, stretch)
    time_s, turned = motion.time_s[rows], motion.oriented(rows)
    spin = np.zeros_like(turned)
    np.multiply(motion.angular_velocity[rows], 0.5, out=spin[:, 1:])
    orientation = hermite_through(time_s, turned, rotation.multiply(turned, spin))
    first = int(rates.spline.time_s.searchsorted(time_s[0]))
    by_rate = rates.spline.pieces[..., first : first + time_s.size - 1]
    curves = Cubics(time_s, np.concatenate((orientation.pieces, by_rate), axis=1))
    w, x, y, z = orientation.at(np.array([address_s]))[:, 0].tolist()
    # `rotation.heading` of one alone
    heading = math.atan2(2.0 * (x * z + w * y), 1.0 - 2.0 * (x * x + y * y))
    return SegmentPath(rates, curves, (w, x, y, z), heading)


def untwisted(pelvis: SegmentPath, upper_back: SegmentPath) -> tuple[SegmentPath, SegmentPath]:
    """Both paths with headings such that the spine's axial joint rotation is 0 at address.

    The sensors know no common heading, so one must be assumed; the pelvis keeps its own.
    """
    w, x, y, z = pelvis.address
    back, placed = (w, -x, -y, -z), upper_back.address
    # a turn of the upper back about the vertical by h: cos(h / 2) of the first, sin of the second
    still, turned = _product(back, placed), _product(back, _product(_HALF_TURN, placed))
    heading = pelvis.heading - upper_back.heading
    for _ in range(_UNTWIST_STEPS):
        cosine, sine = math.cos(0.5 * heading), math.sin(0.5 * heading)
        w, x, y, z = (cosine * a + sine * b for a, b in zip(still, turned, strict=True))
        heading -= math.atan2(2.0 * (w * y - x * z), w * w - x * x - y * y + z * z)
    return pelvis, upper_back.headed(heading)


def _product(first: _Quaternion, second: _Quaternion) -> _Quaternion:
    """`rotation.multiply` of two quaternions alone, for which arrays cost twenty times as much."""
    a, b, c, d = first
    w, x, y, z = second
    return (
        a * w - b * x - c * y - d * z,
        a * x + b * w + c * z - d * y,
        a * y - b * z + c * w + d * x,
        a * z + b * y - c * x + d * w,
    )


def common_times(curves: tuple[AxialCurve, AxialCurve], start_s: float) -> Array:
    """Evenly spaced times from `start_s` to the end of the shorter curve, s."""
    end_s = min(float(curve.time_s[-1]) for curve in curves)
    steps = np.arange(int((end_s - start_s) / GRID_S) + 1, dtype=np.float64)
    return start_s + GRID_S * steps


def _rows(time_s: Array, stretch: Interval) -> slice:
    first, last = time_s.searchsorted((stretch.start_s, stretch.end_s)).tolist()
    return slice(first, last)


def _wrapped(angle: Array) -> Array:
    """The same angles, rad, in [-pi, pi)."""
    wrapped: Array = (angle + np.pi) % (2.0 * np.pi) - np.pi
    return wrapped
