"""Rotations by scipy, as a yardstick for the project's own quaternion code."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation


def rate_by_difference(orientation, time_s):
    """Angular velocity in body axes from orientations (n, 4), at the steps' middles (n - 1, 3)."""
    turned = Rotation.from_quat(orientation, scalar_first=True)
    step = (turned[:-1].inv() * turned[1:]).as_rotvec()
    return step / np.diff(time_s)[:, None]


def cardan_deg(orientation, sequence):
    """Intrinsic Cardan angles, degrees, unwrapped along the rows."""
    angles = Rotation.from_quat(orientation, scalar_first=True).as_euler(sequence)
    return np.degrees(np.unwrap(angles, axis=0))
