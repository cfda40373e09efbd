"""A segment that moves through given angles, and exactly what a sensor on it would measure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation

from analysis.samples import SampleTable

GRAVITY = 9.80665


@dataclass(frozen=True)
class MovingSegment:
    """knots_s (k,); angles_deg (k, 3): turn, obliquity, tilt (Cardan Y-X-Z); still at both ends."""

    knots_s: np.ndarray
    angles_deg: np.ndarray

    def _path(self):
        """Through the knots without overshoot; held before the first and after the last."""
        far_s = 1e3
        knots = np.concatenate(
            ([self.knots_s[0] - far_s], self.knots_s, [self.knots_s[-1] + far_s])
        )
        angles = np.concatenate((self.angles_deg[:1], self.angles_deg, self.angles_deg[-1:]))
        return PchipInterpolator(knots, np.radians(angles))

    def orientation(self, time_s):
        """Segment-to-world (n, 4), scalar first."""
        return Rotation.from_euler("YXZ", self._path()(time_s)).as_quat(scalar_first=True)

    def rate(self, time_s):
        """Angular velocity in segment axes (n, 3), rad/s, from the Cardan rates."""
        path = self._path()
        _, second, third = path(time_s).T
        turn, obliquity, tilt = path(time_s, 1).T
        return np.stack(
            (
                turn * np.cos(second) * np.sin(third) + obliquity * np.cos(third),
                turn * np.cos(second) * np.cos(third) - obliquity * np.sin(third),
                tilt - turn * np.sin(second),
            ),
            axis=-1,
        )

    def samples(self, time_s, *, mounting=None, bias=(0.0, 0.0, 0.0), noise=0.0, seed=0):
        """SampleTable of a sensor on the segment's axis (no acceleration of its own).

        mounting: scipy Rotation, sensor to segment; bias rad/s in sensor axes; noise: standard
        deviation, rad/s and ten times it in m/s^2.
        """
        to_sensor = (mounting or Rotation.identity()).inv()
        rng = np.random.default_rng(seed)
        up = Rotation.from_quat(self.orientation(time_s), scalar_first=True).apply(
            [0.0, GRAVITY, 0.0], inverse=True
        )
        shape = (time_s.size, 3)
        gyro = to_sensor.apply(self.rate(time_s)) + np.asarray(bias)
        accel = to_sensor.apply(up)
        return SampleTable(
            time_s,
            gyro + noise * rng.standard_normal(shape),
            accel + 10.0 * noise * rng.standard_normal(shape),
        )


STILL_DEG = (0.0, 0.0, -25.0)
TOP_DEG = (-80.0, -15.0, -20.0)
FINISH_DEG = (70.0, 10.0, -5.0)


def swing(*, quiet_s=3.0, after_s=2.0):
    """A right-hander's upper back: quiet, back to the top, down and through, quiet.

    Returns the segment, the time of the top and the time of the end.
    """
    start = quiet_s
    knots = np.array([start, start + 0.45, start + 0.9, start + 1.3, start + 1.8])
    middle = 0.5 * (np.array(STILL_DEG) + np.array(TOP_DEG))
    through = np.array([10.0, -2.0, -18.0])
    angles = np.array([STILL_DEG, middle, TOP_DEG, through, FINISH_DEG])
    return MovingSegment(knots, angles), start + 0.9, start + 1.8 + after_s
