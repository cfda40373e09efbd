"""What small turns of pelvis and upper back do to the joint separation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import rotation
from analysis.kinematics import SegmentPath
from analysis.samples import Array

_STEP = 1e-5
"""rad; of the difference quotients."""


@dataclass(frozen=True, slots=True)
class JointChange:
    """At k times: d(joint separation)/d(small turn in world axes) of pelvis and upper back, (k, 3)
    each, and how fast the joint separation grows, (k,) rad/s."""

    by_hips: Array
    by_shoulders: Array
    rates: Array


def joint_change(paths: tuple[SegmentPath, SegmentPath], times: Array) -> JointChange:
    """Sensitivities of the joint separation at times (k,) s."""
    placed = [path.at(times).orientation for path in paths]
    by_hips, by_shoulders = _sensitivity(placed[0], placed[1], paths[0].rates.sign)
    rates = [
        rotation.rotate(turned, np.asarray(path.rates.spline(times)))
        for turned, path in zip(placed, paths, strict=True)
    ]
    moving = np.sum(by_hips * rates[0] + by_shoulders * rates[1], axis=1)
    return JointChange(by_hips, by_shoulders, moving)


def joint_effects(change: JointChange, turned: tuple[Array, Array], heading: Array) -> Array:
    """Effects (k - 1, causes), rad, on the joint separation since the first of the k times.

    turned: effects (k, 3, causes) on each segment's orientation, world axes; heading (causes,) on
    the heading between the two, which by assumption leaves the spine untwisted at the first time:
    what moves its twist there is taken up by a turn of the upper back.
    """
    moved = np.einsum("kj,kjc->kc", change.by_hips, turned[0])
    moved += np.einsum("kj,kjc->kc", change.by_shoulders, turned[1])
    by_heading = change.by_shoulders[:, 1]
    taken_up = heading - moved[0] / by_heading[0]
    moved = moved + by_heading[:, None] * taken_up
    since: Array = moved[1:] - moved[0]
    return since


def _sensitivity(hips: Array, shoulders: Array, sign: float) -> tuple[Array, Array]:
    """d(joint separation)/d(small turn in world axes) of both, (k, 3) each, at orientations
    (k, 4)."""
    small = rotation.from_rotation_vector(np.vstack((np.zeros((1, 3)), _STEP * np.eye(3))))
    moved = [rotation.multiply(small[:, None], placed[None]) for placed in (hips, shoulders)]
    stack = (
        np.concatenate((moved[0], np.broadcast_to(hips, (3, *hips.shape)))),
        np.concatenate((np.broadcast_to(shoulders, (4, *shoulders.shape)), moved[1][1:])),
    )
    axial = -sign * rotation.spine_joint_angles(*stack)[..., 2]
    slopes = (axial[1:] - axial[0]) / _STEP
    return slopes[:3].T, slopes[3:].T
