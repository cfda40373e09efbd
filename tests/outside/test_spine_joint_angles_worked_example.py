"""One pose, several separations: a worked example of the ISB spine joint angles.

Frames x forward, y up, z right; each segment bends forward, then turns right about its own long
axis: Rz(-bend) Ry(-turn). Expected values follow from the definitions alone (Wu et al. 2002,
J Biomech 35:543-548: flexion about the proximal z, axial about the distal y, lateral about the
floating axis), worked out in double precision apart from this project; 0.01 degrees. That the
definitions differ by degrees is what Brown, Selbie, Wallace 2013 (J Sports Sci 31:1156-1163)
and Smith et al. 2016 (J Appl Biomech 32:23-31) measured on golfers.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis import rotation


def bent_and_turned(bend_deg, turn_deg):
    return rotation.multiply(
        rotation.from_axis(2, np.radians(-bend_deg)), rotation.from_axis(1, np.radians(-turn_deg))
    )


@pytest.mark.parametrize(
    ("upper", "pelvis", "joint_axial", "projected", "total"),
    [
        ((35.0, 90.0), (20.0, 45.0), -45.99, -46.78, 47.31),
        ((40.0, 95.0), (25.0, 40.0), -55.97, -59.26, 56.85),
    ],
)
def test_joint_and_projected_separation_of_a_pose(upper, pelvis, joint_axial, projected, total):
    upper_back, hips = bent_and_turned(*upper), bent_and_turned(*pelvis)
    joint = np.degrees(rotation.spine_joint_angles(hips, upper_back))
    assert joint[2] == pytest.approx(joint_axial, abs=0.01)
    turns = [np.degrees(rotation.cardan_yxz(segment))[0] for segment in (upper_back, hips)]
    assert turns[0] - turns[1] == pytest.approx(projected, abs=0.01)
    relative = rotation.multiply(rotation.conjugate(hips), upper_back)
    angle = np.degrees(np.linalg.norm(rotation.to_rotation_vector(relative)))
    assert angle == pytest.approx(total, abs=0.01)


def test_a_bent_trunk_turned_right_has_its_right_side_up():
    """The line of the shoulders rises by the bend once the trunk is turned by a right angle."""
    for bend, turn, rise in ((35.0, 90.0, 35.0), (20.0, 45.0, 14.0)):
        obliquity = np.degrees(rotation.cardan_yxz(bent_and_turned(bend, turn)))[1]
        assert -obliquity == pytest.approx(rise, abs=0.01)
