"""The project's rotations against scipy.spatial.transform.Rotation, which it did not make.

Tolerances are those of double precision.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

from analysis import rotation

RANDOM = Rotation.random(2000, rng=np.random.default_rng(1))
OTHER = Rotation.random(2000, rng=np.random.default_rng(2))
VECTORS = np.random.default_rng(3).normal(size=(2000, 3))
FIRST, SECOND = (turn.as_quat(scalar_first=True) for turn in (RANDOM, OTHER))


def same(found, expected):
    """Largest angle between rotations found (n, 4) and those scipy gives, rad."""
    found = Rotation.from_quat(found, scalar_first=True)
    return float((found.inv() * expected).magnitude().max())


def test_products_inverses_and_turned_vectors():
    assert same(rotation.multiply(FIRST, SECOND), RANDOM * OTHER) < 1e-14
    assert same(rotation.conjugate(FIRST), RANDOM.inv()) < 1e-14
    assert rotation.rotate(FIRST, VECTORS) == pytest.approx(RANDOM.apply(VECTORS), abs=1e-13)


def test_exponential_and_logarithm():
    assert same(rotation.from_rotation_vector(RANDOM.as_rotvec()), RANDOM) < 1e-14
    assert rotation.to_rotation_vector(FIRST) == pytest.approx(RANDOM.as_rotvec(), abs=1e-13)


def test_matrices():
    assert rotation.to_matrix(FIRST) == pytest.approx(RANDOM.as_matrix(), abs=1e-14)
    assert same(rotation.from_matrix(RANDOM.as_matrix()), RANDOM) < 1e-13


def test_turn_obliquity_and_tilt_are_the_intrinsic_sequence_y_x_z():
    assert rotation.cardan_yxz(FIRST) == pytest.approx(RANDOM.as_euler("YXZ"), abs=1e-11)
    angles = RANDOM.as_euler("YXZ")
    assert same(rotation.from_cardan_yxz(angles), RANDOM) < 1e-14


def test_spine_joint_angles_are_the_intrinsic_sequence_z_x_y():
    joint = RANDOM.inv() * OTHER
    assert rotation.spine_joint_angles(FIRST, SECOND) == pytest.approx(
        joint.as_euler("ZXY"), abs=1e-11
    )
    assert same(rotation.from_cardan_zxy(joint.as_euler("ZXY")), joint) < 1e-14


def test_close_to_the_gimbal_the_angles_still_agree():
    """Middle angle 0.01 degrees short of a right angle."""
    near = Rotation.from_euler("YXZ", [[40.0, 89.99, -20.0], [-70.0, -89.99, 5.0]], degrees=True)
    found = rotation.cardan_yxz(near.as_quat(scalar_first=True))
    assert np.degrees(found) == pytest.approx(near.as_euler("YXZ", degrees=True), abs=1e-6)


def test_the_smallest_turn_to_upright_is_as_long_as_the_angle_to_the_vertical():
    arc = Rotation.from_quat(rotation.to_upright(VECTORS), scalar_first=True)
    expected = np.arccos(VECTORS[:, 1] / np.linalg.norm(VECTORS, axis=1))
    assert arc.magnitude() == pytest.approx(expected, abs=1e-7)


def test_half_of_a_rotation_is_where_scipy_interpolates_it():
    half = rotation.from_rotation_vector(0.5 * rotation.to_rotation_vector(FIRST[0]))
    middle = Slerp([0.0, 1.0], Rotation.concatenate([Rotation.identity(), RANDOM[0]]))(0.5)
    assert same(half, middle) < 1e-14
