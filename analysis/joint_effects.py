"""What small turns of pelvis and upper back do to the joint separation.

The axial angle of the spine joint (Z-X-Y of the upper back in the pelvis) is atan2(-z.x, z.z) of
the pelvis's right axis z with the upper back's forward and right axes: only the turn of one segment
against the other moves it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import rotation
from analysis.kinematics import SegmentPath
from analysis.samples import Array

LEAST_LEVEL = 1e-9
"""Of the squared length under the arc tangent; nothing near it is a spine."""


@dataclass(frozen=True, slots=True)
class JointChange:
    """At k times: d(joint separation)/d(small turn of the upper back against the pelvis), (k, 3),
    world axes, and how fast the joint separation grows, (k,) rad/s."""

    by_turn: Array
    rates: Array


def joint_change(paths: tuple[SegmentPath, SegmentPath], times: Array) -> JointChange:
    """Sensitivities of the joint separation at times (k,) s."""
    placed = [path.placed(times) for path in paths]
    by_turn = joint_sensitivity(placed[0], placed[1], paths[0].rates.sign)
    hips, shoulders = (
        rotation.rotate(turned, np.asarray(path.rates.spline(times)))
        for turned, path in zip(placed, paths, strict=True)
    )
    return JointChange(by_turn, np.sum(by_turn * (shoulders - hips), axis=1))


def joint_effects(change: JointChange, moved: Array, heading: Array) -> Array:
    """Effects (k - 1, causes), rad, on the joint separation since the first of the k times.

    moved: effects (k, causes) on it by the turns of both segments; heading (causes,) on the heading
    between the two, which by assumption leaves the spine untwisted at the first time: what moves
    its twist there is taken up by a turn of the upper back.
    """
    by_heading = change.by_turn[:, 1]
    taken_up = heading - moved[0] / by_heading[0]
    moved = moved + by_heading[:, None] * taken_up
    since: Array = moved[1:] - moved[0]
    return since


def joint_sensitivity(pelvis: Array, upper_back: Array, sign: float) -> Array:
    """d(joint separation)/d(small turn of the upper back against the pelvis): (k, 3), world axes.

    pelvis, upper_back (k, 4): segment-to-world; sign +1 where toward the target is to the left.
    """
    right = rotation.to_matrix(pelvis)[:, :, 2]
    axes = rotation.to_matrix(upper_back)
    forward, across = axes[:, :, 0], axes[:, :, 2]
    sine = -np.sum(right * forward, axis=1, keepdims=True)
    cosine = np.sum(right * across, axis=1, keepdims=True)
    turning = np.cross(cosine * forward + sine * across, right)
    return np.asarray(sign * turning / np.maximum(sine**2 + cosine**2, LEAST_LEVEL))
