"""What small turns of pelvis and upper back do to the joint separation.

The axial angle of the spine joint (Z-X-Y of the upper back in the pelvis) is atan2(-z.x, z.z) of
the pelvis's right axis z with the upper back's forward and right axes: only the turn of one segment
against the other moves it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import rotation
from analysis.samples import Array

LEAST_LEVEL = 1e-9
"""Of the squared length under the arc tangent; nothing near it is a spine."""


@dataclass(frozen=True, slots=True)
class JointChange:
    """The joint separation at k times: how it changes with the heading of the upper back, (k,), how
    fast it grows, (k,) rad/s, and the effects (k, causes) on it by the turns of both segments, rad.
    """

    by_heading: Array
    rates: Array
    moved: Array

    def effects(self, heading: Array) -> Array:
        """Effects (k - 1, causes), rad, on the joint separation since the first of the k times.

        heading (causes,): effects on the heading between the two, which by assumption leaves the
        spine untwisted at the first time: what moves its twist there is taken up by a turn of the
        upper back.
        """
        taken_up = heading - self.moved[0] / self.by_heading[0]
        moved = self.moved + self.by_heading[:, None] * taken_up
        since: Array = moved[1:] - moved[0]
        return since


def joint_direction(axes: Array, sign: float) -> Array:
    """d(joint separation)/d(small turn of the upper back against the pelvis): (3, k), world axes.

    axes (2, 3, >= 3, k): axes of pelvis and upper back, world axis by segment axis; sign +1 where
    toward the target is to the left.
    """
    right, forward, across = axes[0, :, 2], axes[1, :, 0], axes[1, :, 2]
    sine = -np.add.reduce(right * forward)
    cosine = np.add.reduce(right * across)
    turning = rotation.cross(cosine * forward + sine * across, right)
    return np.asarray(turning * (sign / np.maximum(sine * sine + cosine * cosine, LEAST_LEVEL)))
