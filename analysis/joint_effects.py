"""What small turns of pelvis and upper back do to the joint separation."""

from __future__ import annotations

import numpy as np

from analysis import rotation
from analysis.kinematics import SegmentPath
from analysis.samples import Array

_STEP = 1e-5
"""rad; of the difference quotients."""


def joint_effects(
    paths: tuple[SegmentPath, SegmentPath],
    times: Array,
    turned: tuple[Array, Array],
    heading: Array,
) -> Array:
    """Effects (k - 1, causes), rad, on the joint separation since the first of `times` (k,) s.

    turned: effects (k, 3, causes) on each segment's orientation, world axes; heading (causes,) on
    the heading between the two, which by assumption leaves the spine untwisted at the first time:
    what moves its twist there is taken up by a turn of the upper back.
    """
    by_hips, by_shoulders = _sensitivity(paths, times)
    moved = np.einsum("kj,kjc->kc", by_hips, turned[0])
    moved += np.einsum("kj,kjc->kc", by_shoulders, turned[1])
    by_heading = by_shoulders[:, 1]
    taken_up = heading - moved[0] / by_heading[0]
    moved = moved + by_heading[:, None] * taken_up
    since: Array = moved[1:] - moved[0]
    return since


def joint_rates(paths: tuple[SegmentPath, SegmentPath], times: Array) -> Array:
    """How fast the joint separation grows at times (k,), rad/s."""
    by_hips, by_shoulders = _sensitivity(paths, times)
    rates = [_world_rate(path, times) for path in paths]
    return np.asarray(np.sum(by_hips * rates[0] + by_shoulders * rates[1], axis=1))


def _world_rate(path: SegmentPath, times: Array) -> Array:
    return rotation.rotate(path.at(times).orientation, np.asarray(path.rates.spline(times)))


def _sensitivity(paths: tuple[SegmentPath, SegmentPath], times: Array) -> tuple[Array, Array]:
    """d(joint separation)/d(small turn in world axes) of pelvis and upper back, (k, 3) each."""
    hips, shoulders = (path.at(times).orientation for path in paths)
    small = rotation.from_rotation_vector(np.vstack((np.zeros((1, 3)), _STEP * np.eye(3))))
    moved = [rotation.multiply(small[:, None], placed[None]) for placed in (hips, shoulders)]
    stack = (
        np.concatenate((moved[0], np.broadcast_to(hips, (3, *hips.shape)))),
        np.concatenate((np.broadcast_to(shoulders, (4, *shoulders.shape)), moved[1][1:])),
    )
    axial = -paths[0].rates.sign * rotation.spine_joint_angles(*stack)[..., 2]
    slopes = (axial[1:] - axial[0]) / _STEP
    return slopes[:3].T, slopes[3:].T
