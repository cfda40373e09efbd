"""True motion of pelvis and upper back: closed-form orientation, rate and acceleration.

Segment axes x forward, y up, z right (ISB); world y up, x where the golfer faces at facing 0.
A segment's orientation is Ry(facing) Rz(-tilt) Rx(bend) Ry(turn): the whole body faces somewhere,
the segment leans forward by its tilt and sideways by its bend, and turns about its own long axis.
Coordinates are written for a right-hander; a left-hander is the mirror image in the x-y plane.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.interpolate import PPoly

from sensors.smooth_path import Array, derivatives
from sensors.wire import SEGMENTS, SegmentName

STANDARD_GRAVITY = 9.80665
"""m/s^2, along the world's -y; by definition (3rd CGPM, 1901)."""

_AXIS = {"x": 0, "y": 1, "z": 2}


def angle_names(segment: SegmentName) -> tuple[str, str, str]:
    """Names of a segment's own angles: tilt, bend, turn. Degrees where a movement is written."""
    return f"{segment}_tilt", f"{segment}_bend", f"{segment}_turn"


def place_names(segment: SegmentName) -> tuple[str, str, str]:
    """Names of a segment's place in the world along x, y, z, m."""
    return f"{segment}_x", f"{segment}_y", f"{segment}_z"


ANGLES = ("facing", *(name for segment in SEGMENTS for name in angle_names(segment)))
PLACES = tuple(name for segment in SEGMENTS for name in place_names(segment))
COORDINATES = (*ANGLES, *PLACES)


class SegmentState(NamedTuple):
    """A segment at n instants.

    orientation (n, 4): unit quaternion, scalar first, segment to world. angular_velocity (n, 3)
    rad/s and angular_acceleration (n, 3) rad/s^2 in segment axes. acceleration (n, 3) m/s^2 of the
    segment's origin, in world axes.
    """

    orientation: Array
    angular_velocity: Array
    angular_acceleration: Array
    acceleration: Array


@dataclass(frozen=True, slots=True)
class BodyMotion:
    """Both segments over one stretch of session time; `paths` by coordinate, rad and m."""

    start_s: float
    end_s: float
    paths: Mapping[str, PPoly]
    mirrored: bool = False

    @property
    def target_sign(self) -> float:
        """Sign of a rotation about the upward axis that goes toward the target."""
        return -1.0 if self.mirrored else 1.0

    def segment(self, segment: SegmentName, time_s: Array) -> SegmentState:
        """State of one segment at time_s (n,), from the paths' exact derivatives."""
        tilt, bend, turn = angle_names(segment)
        mirror = self.target_sign
        frame = _Frame(time_s.shape[0])
        for axis, coordinate, sign in (
            ("y", "facing", mirror),
            ("z", tilt, -1.0),
            ("x", bend, mirror),
            ("y", turn, mirror),
        ):
            angle, rate, acceleration = derivatives(self.paths[coordinate], time_s, 2)
            frame.rotate(_AXIS[axis], sign * angle, sign * rate, sign * acceleration)
        place = [derivatives(self.paths[name], time_s, 2)[2] for name in place_names(segment)]
        place[2] = mirror * place[2]
        return SegmentState(frame.orientation, frame.rate, frame.acceleration, np.stack(place, -1))


class _Frame:
    """A frame that is turned step by step about its own axes; rates in its own axes."""

    def __init__(self, n: int) -> None:
        self.orientation = np.zeros((n, 4))
        self.orientation[:, 0] = 1.0
        self.rate = np.zeros((n, 3))
        self.acceleration = np.zeros((n, 3))

    def rotate(self, axis: int, angle: Array, rate: Array, acceleration: Array) -> None:
        """Turn by angle (n,) about axis number 0, 1 or 2; rad, rad/s, rad/s^2.

        With w' = R^T w + q' e, the derivative is R^T a + q'' e + (R^T w) x (q' e).
        """
        second, third = (axis + 1) % 3, (axis + 2) % 3
        cosine, sine = np.cos(angle), np.sin(angle)
        for vector in (self.rate, self.acceleration):
            first = cosine * vector[:, second] + sine * vector[:, third]
            vector[:, third] = cosine * vector[:, third] - sine * vector[:, second]
            vector[:, second] = first
        self.acceleration[:, second] += self.rate[:, third] * rate
        self.acceleration[:, third] -= self.rate[:, second] * rate
        self.acceleration[:, axis] += acceleration
        self.rate[:, axis] += rate
        self._turn_orientation(axis, np.cos(angle / 2.0), np.sin(angle / 2.0))

    def _turn_orientation(self, axis: int, cosine: Array, sine: Array) -> None:
        """Right-multiply by the quaternion of a turn about one axis, given its half angle."""
        q = self.orientation
        i, j, k = 1 + axis, 1 + (axis + 1) % 3, 1 + (axis + 2) % 3
        scalar, own, second, third = q[:, 0], q[:, i], q[:, j], q[:, k]
        turned = np.empty_like(q)
        turned[:, 0] = scalar * cosine - own * sine
        turned[:, i] = own * cosine + scalar * sine
        turned[:, j] = second * cosine + third * sine
        turned[:, k] = third * cosine - second * sine
        self.orientation = turned
