"""Quaternions and angle sequences: what must hold for any rotation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import rotation

COMPONENT = st.floats(-1.0, 1.0, allow_subnormal=False)
ANGLE = st.floats(-np.pi, np.pi)


@st.composite
def unit_quaternions(draw):
    quaternion = np.array([draw(COMPONENT) for _ in range(4)])
    length = np.linalg.norm(quaternion)
    return quaternion / length if length > 1e-3 else rotation.IDENTITY


@st.composite
def vectors(draw, limit=10.0):
    return np.array([draw(st.floats(-limit, limit, allow_subnormal=False)) for _ in range(3)])


def same_rotation(first, second, tolerance=1e-12):
    difference = rotation.multiply(rotation.conjugate(first), second)
    return np.linalg.norm(rotation.to_rotation_vector(difference)) < tolerance


@given(unit_quaternions(), unit_quaternions(), vectors())
def test_a_product_turns_by_the_second_and_then_by_the_first(first, second, vector):
    at_once = rotation.rotate(rotation.multiply(first, second), vector)
    in_turn = rotation.rotate(first, rotation.rotate(second, vector))
    assert at_once == pytest.approx(in_turn, abs=1e-12)


@given(unit_quaternions(), vectors())
def test_the_conjugate_turns_back(quaternion, vector):
    there = rotation.rotate(quaternion, vector)
    assert rotation.rotate(rotation.conjugate(quaternion), there) == pytest.approx(
        vector, abs=1e-12
    )
    assert np.linalg.norm(there) == pytest.approx(np.linalg.norm(vector), abs=1e-12)


@given(vectors(limit=1.8))
def test_logarithm_undoes_exponential_within_half_a_turn(vector):
    back = rotation.to_rotation_vector(rotation.from_rotation_vector(vector))
    if np.linalg.norm(vector) < np.pi - 1e-6:
        assert back == pytest.approx(vector, abs=1e-9)


@pytest.mark.parametrize("size", [0.0, 1e-300, 1e-12, 1e-6, 1.9e-4, 2.1e-4, 1e-2, np.pi - 1e-9])
def test_exponential_and_logarithm_keep_all_digits_at_any_size(size):
    vector = size * np.array([0.6, -0.8, 0.0])
    quaternion = rotation.from_rotation_vector(vector)
    assert np.linalg.norm(quaternion) == pytest.approx(1.0, abs=4e-16)
    assert rotation.to_rotation_vector(quaternion) == pytest.approx(vector, rel=1e-12, abs=1e-300)


@given(unit_quaternions())
def test_logarithm_is_never_longer_than_half_a_turn_and_ignores_the_quaternion_sign(quaternion):
    vector = rotation.to_rotation_vector(quaternion)
    assert np.linalg.norm(vector) <= np.pi + 1e-12
    assert same_rotation(rotation.from_rotation_vector(vector), -quaternion)


@given(unit_quaternions())
def test_a_matrix_and_its_quaternion_are_the_same_rotation(quaternion):
    matrix = rotation.to_matrix(quaternion)
    assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(matrix) == pytest.approx(1.0, abs=1e-12)
    assert same_rotation(rotation.from_matrix(matrix), quaternion)


@given(ANGLE, st.floats(-1.5, 1.5), ANGLE)
def test_cardan_angles_come_back_from_their_rotation(first, second, third):
    angles = np.array([first, second, third])
    for forth, back in (
        (rotation.from_cardan_yxz, rotation.cardan_yxz),
        (rotation.from_cardan_zxy, rotation.cardan_zxy),
    ):
        again = back(forth(angles))
        assert np.cos(again - angles) == pytest.approx(np.ones(3), abs=1e-12)
        assert again[1] == pytest.approx(second, abs=1e-9)


@given(ANGLE, st.sampled_from([-np.pi / 2, np.pi / 2]), ANGLE)
def test_at_the_gimbal_the_angles_still_give_the_rotation(first, second, third):
    angles = np.array([first, second, third])
    for forth, back in (
        (rotation.from_cardan_yxz, rotation.cardan_yxz),
        (rotation.from_cardan_zxy, rotation.cardan_zxy),
    ):
        quaternion = forth(angles)
        again = back(quaternion)
        assert np.isfinite(again).all()
        assert same_rotation(forth(again), quaternion, 1e-6)


@given(unit_quaternions(), ANGLE)
def test_turning_the_world_about_the_vertical_shifts_the_turn_alone(quaternion, heading):
    angles = rotation.cardan_yxz(quaternion)
    turned = rotation.cardan_yxz(rotation.multiply(rotation.from_axis(1, heading), quaternion))
    if abs(angles[1]) < 1.5:
        assert np.cos(turned[0] - angles[0] - heading) == pytest.approx(1.0, abs=1e-12)
        assert np.sin(turned[1:]) == pytest.approx(np.sin(angles[1:]), abs=1e-9)


@given(vectors())
def test_the_smallest_turn_to_upright_takes_a_direction_to_the_vertical(start):
    if np.linalg.norm(start) < 1e-3:
        return
    arc = rotation.to_upright(start)
    unit = start / np.linalg.norm(start)
    assert rotation.rotate(arc, unit) == pytest.approx([0.0, 1.0, 0.0], abs=1e-6)
    assert abs(rotation.to_rotation_vector(arc) @ unit) < 1e-6


def test_upside_down_is_a_half_turn_from_upright():
    directions = np.array([[0.0, -2.0, 0.0], [1.0, 0.0, 0.0]])
    turned = rotation.rotate(rotation.to_upright(directions), directions)
    assert turned == pytest.approx(np.array([[0.0, 2.0, 0.0], [0.0, 1.0, 0.0]]), abs=1e-12)


def test_movements_have_the_signs_of_the_conventions():
    """x forward, y up, z right: turn left, right side down and bent back are positive."""
    bow = rotation.from_axis(2, np.radians(-30.0))
    assert rotation.rotate(bow, np.array([0.0, 1.0, 0.0]))[0] > 0.0
    assert np.degrees(rotation.cardan_yxz(bow)) == pytest.approx([0.0, 0.0, -30.0])
    lean_right = rotation.from_axis(0, np.radians(10.0))
    assert rotation.rotate(lean_right, np.array([0.0, 0.0, 1.0]))[1] < 0.0
    assert np.degrees(rotation.cardan_yxz(lean_right)) == pytest.approx([0.0, 10.0, 0.0])
    left = rotation.from_axis(1, np.radians(40.0))
    assert rotation.rotate(left, np.array([1.0, 0.0, 0.0]))[2] < 0.0
    assert np.degrees(rotation.cardan_yxz(left)) == pytest.approx([40.0, 0.0, 0.0])


@given(unit_quaternions(), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-3.0, 3.0))
def test_spine_joint_angles_do_not_depend_on_where_the_golfer_stands(
    pelvis, flexion, lateral, axial
):
    joint = np.array([flexion, lateral, axial])
    upper_back = rotation.multiply(pelvis, rotation.from_cardan_zxy(joint))
    assert rotation.spine_joint_angles(pelvis, upper_back) == pytest.approx(joint, abs=1e-9)


def test_unwrapped_angles_have_no_jumps_of_whole_turns():
    angles = np.linspace(0.0, 20.0, 200)
    wrapped = np.angle(np.exp(1j * angles))
    assert rotation.unwrap(wrapped) == pytest.approx(angles, abs=1e-9)


def test_stacks_of_rotations_keep_their_shape():
    stack = rotation.from_rotation_vector(np.linspace(0.0, 1.0, 24).reshape(2, 4, 3))
    assert stack.shape == (2, 4, 4)
    assert rotation.cardan_yxz(stack).shape == (2, 4, 3)
    assert rotation.from_matrix(rotation.to_matrix(stack)) == pytest.approx(stack, abs=1e-12)
