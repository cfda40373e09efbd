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
from analysis.results import Handedness, Interval
from analysis.samples import Array

GRID_S = 0.005
"""Step of the common time line of curves and of the search for the greatest separation."""


def target_sign(handedness: Handedness) -> float:
    """Sign of a turn about the upward axis that goes toward the target.

    A right-hander's target lies to the left of where the golfer faces, which is a positive turn.
    """
    return 1.0 if handedness is Handedness.RIGHT else -1.0


@dataclass(frozen=True, slots=True)
class SegmentPath:
    """A segment over a stretch of time, with `sign` +1 where toward the target is to the left.

    axial: filtered velocity about its own long axis. Internal: orientation and filtered angular
    velocity by interpolation, segment-to-world with heading 0 at address.
    """

    sign: float
    axial: AxialCurve
    _orientation: CubicHermiteSpline
    _rate: CubicSpline
    _to_address: Array

    def orientation(self, time_s: Array) -> Array:
        """Segment-to-world (n, 4), heading 0 at address, at any times (n,) s of the stretch."""
        return rotation.multiply(
            self._to_address, rotation.normalise(np.asarray(self._orientation(time_s)))
        )

    def angles(self, time_s: Array) -> Array:
        """Turn, obliquity and forward tilt, (n, 3) rad: toward the target, lead side up, forward.

        Turn since address.
        """
        angles: Array = rotation.cardan_yxz(self.orientation(time_s))
        angles *= np.array([self.sign, self.sign, -1.0])
        return angles

    def turn_rate(self, time_s: Array) -> Array:
        """Rate of the turn, (n,) rad/s, positive toward the target.

        From the angular velocity w in segment axes: (w_x sin c + w_y cos c) / cos b, with b and c
        the second and third angle of the sequence Y-X-Z.
        """
        sequence = rotation.cardan_yxz(self.orientation(time_s))
        x, y, _ = np.asarray(self._rate(time_s)).T
        tilt = sequence[:, 2]
        rate: Array = (x * np.sin(tilt) + y * np.cos(tilt)) / np.cos(sequence[:, 1])
        return self.sign * rate

    def axial_angle(self, start_s: float, end_s: float) -> float:
        """Angle turned about the segment's own long axis between two times, rad."""
        return float(self.axial.spline.integrate(start_s, end_s))


def segment_path(motion: SegmentMotion, stretch: Interval, sign: float) -> SegmentPath:
    """Path of a segment over a stretch of time; address is set later by `zeroed_at`."""
    first, last = np.searchsorted(motion.time_s, (stretch.start_s, stretch.end_s))
    rows = slice(int(first), int(last))
    time_s, turned = motion.time_s[rows], _one_sheet(motion.orientation[rows])
    rate = motion.angular_velocity[rows]
    smooth = low_pass(time_s, rate)
    spin = np.concatenate((np.zeros((rate.shape[0], 1)), rate), axis=1)
    slope = 0.5 * rotation.multiply(turned, spin)
    return SegmentPath(
        sign,
        AxialCurve.through(time_s, sign * smooth[:, 1]),
        CubicHermiteSpline(time_s, turned, slope),
        CubicSpline(time_s, smooth),
        rotation.IDENTITY,
    )


def zeroed_at(path: SegmentPath, address_s: float) -> SegmentPath:
    """The same path with its heading turned to 0 at address."""
    at = rotation.normalise(np.asarray(path._orientation(address_s)))
    heading = float(rotation.cardan_yxz(at)[0])
    return SegmentPath(
        path.sign, path.axial, path._orientation, path._rate, rotation.from_axis(1, -heading)
    )


def joint_separation(pelvis: SegmentPath, upper_back: SegmentPath, time_s: Array) -> Array:
    """Axial rotation of the spine joint angles, (n,) rad, positive with the upper back further
    away from the target. Headings are 0 at address, as the sensors know no common heading."""
    joint = rotation.spine_joint_angles(pelvis.orientation(time_s), upper_back.orientation(time_s))
    axial: Array = -pelvis.sign * joint[:, 2]
    return axial


def common_times(pelvis: SegmentPath, upper_back: SegmentPath, start_s: float) -> Array:
    """Evenly spaced times from `start_s` to the end of the shorter path, s."""
    end_s = min(float(path.axial.time_s[-1]) for path in (pelvis, upper_back))
    steps = np.arange(int((end_s - start_s) / GRID_S) + 1, dtype=np.float64)
    return start_s + GRID_S * steps


def _one_sheet(quaternion: Array) -> Array:
    """The same rotations (n, 4) without sign jumps from row to row."""
    jumps = np.sum(quaternion[1:] * quaternion[:-1], axis=1) < 0.0
    sign = np.where(np.cumsum(jumps) % 2, -1.0, 1.0)
    out = quaternion.copy()
    out[1:] *= sign[:, None]
    return out
