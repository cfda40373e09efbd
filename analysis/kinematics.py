"""Both segments' motion over one swing, on one time line and in the golfer's signs.

Each sensor has its own time stamps. Orientation between them is interpolated by cubic Hermite
pieces through the quaternions with the derivative that the gyro gives (error of fourth order in
the step), so both can be asked at any common time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline, CubicSpline

from analysis import rotation
from analysis.events import AxialCurve
from analysis.filtering import low_pass
from analysis.orientation import SegmentMotion
from analysis.pieces import hermite_through, spline_through
from analysis.results import Handedness, Interval
from analysis.samples import Array

GRID_S = 0.005
"""Step of the common time line of curves."""
_UNTWIST_STEPS = 4
"""Each leaves a few hundredths of the twist it started from."""


def target_sign(handedness: Handedness) -> float:
    """Sign of a turn about the upward axis that goes toward the target.

    A right-hander's target lies to the left of where the golfer faces, which is a positive turn.
    """
    return 1.0 if handedness is Handedness.RIGHT else -1.0


@dataclass(frozen=True, slots=True)
class Rates:
    """Filtered angular velocity of a segment over a stretch of time.

    sign +1 where toward the target is to the left; axial: about its own long axis, toward the
    target positive; spline: (n, 3) rad/s in segment axes at any times of the stretch.
    """

    sign: float
    axial: AxialCurve
    spline: CubicSpline


@dataclass(frozen=True, slots=True)
class Posture:
    """A segment at n times. orientation (n, 4): segment-to-world.

    turn since address, obliquity, tilt (n,) rad: toward the target, lead side up, forward;
    turn_rate (n,) rad/s toward the target.
    """

    orientation: Array
    turn: Array
    obliquity: Array
    tilt: Array
    turn_rate: Array


@dataclass(frozen=True, slots=True)
class SegmentPath:
    """A segment around a swing; orientation by interpolation.

    to_address (4,) turns it about the vertical to `heading` rad at address, from which its turn is
    counted.
    """

    rates: Rates
    orientation: CubicHermiteSpline
    to_address: Array
    heading: float = 0.0

    def placed(self, time_s: Array | float) -> Array:
        """Orientation (..., 4) at times (...) s of the path, segment-to-world."""
        raw = np.asarray(self.orientation(time_s))
        return rotation.multiply(self.to_address, rotation.normalise(raw))

    def at(self, time_s: Array) -> Posture:
        """Posture at times (n,) s of the path.

        The turn's rate from the angular velocity w in segment axes: (w_x sin c + w_y cos c) /
        cos b, with b and c the second and third angle of the sequence Y-X-Z.
        """
        placed = self.placed(time_s)
        first, second, third = rotation.cardan_yxz(placed).T
        x, y, _ = np.asarray(self.rates.spline(time_s)).T
        rate = (x * np.sin(third) + y * np.cos(third)) / np.cos(second)
        sign = self.rates.sign
        return Posture(placed, self._turn(first), sign * second, -third, sign * rate)

    def turn(self, placed: Array) -> Array:
        """Turn since address of orientations (n, 4) of the segment, (n,) rad."""
        return self._turn(rotation.heading(placed))

    def _turn(self, heading: Array) -> Array:
        return self.rates.sign * _wrapped(heading - self.heading)


def filtered_rates(motion: SegmentMotion, stretch: Interval, sign: float) -> Rates:
    """Angular velocity over a stretch of time, low-passed."""
    rows = _rows(motion.time_s, stretch)
    time_s = motion.time_s[rows]
    smooth = low_pass(time_s, motion.angular_velocity[rows])
    spline = spline_through(time_s, smooth)
    axial = CubicSpline.construct_fast(sign * spline.c[:, :, 1], time_s)
    return Rates(sign, AxialCurve(time_s, sign * smooth[:, 1], axial), spline)


def segment_path(
    motion: SegmentMotion, rates: Rates, stretch: Interval, address_s: float
) -> SegmentPath:
    """Path over a stretch of time that lies within that of the rates and holds the address."""
    rows = _rows(motion.time_s, stretch)
    time_s, turned = motion.time_s[rows], _one_sheet(motion.orientation[rows])
    spin = np.zeros_like(turned)
    spin[:, 1:] = motion.angular_velocity[rows]
    orientation = hermite_through(time_s, turned, 0.5 * rotation.multiply(turned, spin))
    heading = float(rotation.heading(rotation.normalise(orientation(address_s))))
    return SegmentPath(rates, orientation, rotation.from_axis(1, -heading))


def axial_angle(curve: AxialCurve, start_s: float, end_s: float) -> float:
    """Angle turned about the segment's own long axis between two times, rad."""
    return float(curve.spline.integrate(start_s, end_s))


def joint_separation(pelvis: Array, upper_back: Array, sign: float) -> Array:
    """Axial rotation of the spine joint angles, (n,) rad, positive with the upper back further
    away from the target; of orientations (n, 4) on paths that are `untwisted`."""
    return -sign * rotation.spine_axial_rotation(pelvis, upper_back)


def untwisted(
    pelvis: SegmentPath, upper_back: SegmentPath, address_s: float
) -> tuple[SegmentPath, SegmentPath]:
    """Both paths with headings such that the spine's axial joint rotation is 0 at address.

    The sensors know no common heading, so one must be assumed; the pelvis keeps its own.
    """
    hips, placed = pelvis.placed(address_s), upper_back.placed(address_s)
    heading = 0.0
    for _ in range(_UNTWIST_STEPS):
        turned = rotation.multiply(rotation.from_axis(1, heading), placed)
        heading -= float(rotation.spine_axial_rotation(hips, turned))
    to_address = rotation.multiply(rotation.from_axis(1, heading), upper_back.to_address)
    return pelvis, SegmentPath(upper_back.rates, upper_back.orientation, to_address, heading)


def common_times(curves: tuple[AxialCurve, AxialCurve], start_s: float) -> Array:
    """Evenly spaced times from `start_s` to the end of the shorter curve, s."""
    end_s = min(float(curve.time_s[-1]) for curve in curves)
    steps = np.arange(int((end_s - start_s) / GRID_S) + 1, dtype=np.float64)
    return start_s + GRID_S * steps


def _rows(time_s: Array, stretch: Interval) -> slice:
    first, last = np.searchsorted(time_s, (stretch.start_s, stretch.end_s))
    return slice(int(first), int(last))


def _wrapped(angle: Array) -> Array:
    """The same angles, rad, in [-pi, pi)."""
    wrapped: Array = (angle + np.pi) % (2.0 * np.pi) - np.pi
    return wrapped


def _one_sheet(quaternion: Array) -> Array:
    """The same rotations (n, 4) without sign jumps from row to row."""
    jumps = np.sum(quaternion[1:] * quaternion[:-1], axis=1) < 0.0
    if not jumps.any():
        return quaternion
    sign = np.where(np.cumsum(jumps) % 2, -1.0, 1.0)
    out = quaternion.copy()
    out[1:] *= sign[:, None]
    return out
