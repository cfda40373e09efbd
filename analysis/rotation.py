"""Unit quaternions and the angle sequences of the trade.

Quaternions are (..., 4), scalar first (w, x, y, z), and turn vectors of the second frame into
the first: `rotate(segment_to_world, vector_in_segment) = vector_in_world`. Angles in radians,
right-hand rule. Axes after ISB: x forward, y up, z right (Wu et al. 2002, J Biomech 35:543-548;
2005, J Biomech 38:981-992), so a bow is a negative turn about z, a lean to the right a positive
turn about x, a turn to the left a positive turn about y.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.samples import Array

IDENTITY: Array = np.array([1.0, 0.0, 0.0, 0.0])
_CONJUGATE: Array = np.array([1.0, -1.0, -1.0, -1.0])
_SMALL_ANGLE_RAD = 1e-4
"""Below it sin(x)/x is its series; the first term left out is x^4/120 < 1e-18."""
_GIMBAL_COSINE = 1e-7
"""Middle angle within 6e-6 degrees of 90: outer axes coincide, the third angle is set to 0."""


def multiply(first: Array, second: Array) -> Array:
    """Quaternion product: the rotation `second`, then `first`. Shapes broadcast to (..., 4).

    As pairs of complex numbers, (a + b j)(c + d j) = (a c - b d*) + (a d + b c*) j.
    """
    left, right = _pairs(first), _pairs(second)
    a, b, c, d = left[..., 0], left[..., 1], right[..., 0], right[..., 1]
    one = np.asarray(a * c)
    out = np.empty((*one.shape, 2), dtype=np.complex128)
    np.subtract(one, b * d.conj(), out=out[..., 0])
    np.add(a * d, b * c.conj(), out=out[..., 1])
    product: Array = out.view(np.float64)
    return product


def conjugate(quaternion: Array) -> Array:
    """The inverse rotation of unit quaternions (..., 4)."""
    inverse: Array = quaternion * _CONJUGATE
    return inverse


def normalise(quaternion: Array) -> Array:
    """Scaled to unit length, (..., 4). The zero quaternion is not a rotation and gives NaN."""
    planes = _planes(quaternion)
    return _stacked(planes / np.sqrt(_squares(planes)))


def squared_length(vector: Array) -> Array:
    """Sum of squares along the last axis, (..., k) -> (...).

    Added up in one fixed order, so that the last bit does not depend on the place in memory.
    """
    return _squares(vector.T if vector.ndim <= 2 else np.moveaxis(vector, -1, 0))


def rotate(quaternion: Array, vector: Array) -> Array:
    """Vectors (..., 3) turned by unit quaternions (..., 4); shapes broadcast to (..., 3)."""
    turn, moved = _planes(quaternion), _planes(vector)
    if turn.ndim != moved.ndim:
        axes = max(turn.ndim, moved.ndim)
        turn, moved = (p.reshape(-1, *(1,) * (axes - p.ndim), *p.shape[1:]) for p in (turn, moved))
    # v + 2 w (u x v) + 2 u x (u x v)
    across = cross(turn[1:], moved)
    across *= 2.0
    out = moved + turn[0] * across
    out += cross(turn[1:], across)
    return _stacked(out)


def from_rotation_vector(vector: Array) -> Array:
    """Exponential: axis times angle (..., 3) rad -> unit quaternion (..., 4)."""
    angle = np.linalg.norm(vector, axis=-1)
    half = 0.5 * angle
    small = half < _SMALL_ANGLE_RAD
    safe = np.where(small, 1.0, half)
    scale = 0.5 * np.where(small, 1.0 - half * half / 6.0, np.sin(safe) / safe)
    return np.concatenate((np.cos(half)[..., None], vector * scale[..., None]), axis=-1)


def to_rotation_vector(quaternion: Array) -> Array:
    """Logarithm: unit quaternion (..., 4) -> axis times angle (..., 3), angle from 0 to pi rad."""
    sign = np.where(quaternion[..., :1] < 0.0, -1.0, 1.0)
    w, xyz = (sign * quaternion[..., :1])[..., 0], sign * quaternion[..., 1:]
    sine = np.linalg.norm(xyz, axis=-1)
    small = sine < _SMALL_ANGLE_RAD
    safe = np.where(small, 1.0, sine)
    # atan2(s, w)/s -> (1/w)(1 - s^2/(3 w^2)) as s -> 0; w is then close to 1
    series = (1.0 - (sine / np.maximum(w, 0.5)) ** 2 / 3.0) / np.maximum(w, 0.5)
    vector: Array = xyz * (2.0 * np.where(small, series, np.arctan2(sine, w) / safe))[..., None]
    return vector


def from_axis(axis: int, angle_rad: Array | float) -> Array:
    """Turn about one coordinate axis (0 x, 1 y, 2 z) by angles (...) rad -> (..., 4)."""
    half = 0.5 * np.asarray(angle_rad, dtype=np.float64)
    out = np.zeros((*half.shape, 4))
    out[..., 0] = np.cos(half)
    out[..., 1 + axis] = np.sin(half)
    return out


def to_upright(direction: Array) -> Array:
    """The smallest rotation that takes a direction (..., 3) to the y axis: (..., 4).

    The opposite direction and none at all have no smallest one; a half turn about the x axis is
    taken.
    """
    x, y, z = _parts(direction)
    length = np.sqrt(x * x + y * y + z * z)
    # of both directions a and b: (|a| |b| + a . b, a x b)
    turn = _together(length + y, -z, np.zeros_like(x), x)
    opposite = turn[..., 0] <= 1e-12 * length
    if opposite.any():
        turn[opposite] = (0.0, 1.0, 0.0, 0.0)
    return normalise(turn)


def to_matrix(quaternion: Array) -> Array:
    """Rotation matrices (..., 3, 3) of unit quaternions (..., 4); columns are the turned axes."""
    if quaternion.ndim == 1:
        return _matrix(*quaternion.tolist())
    planes = _planes(quaternion)
    twice = 2.0 * planes[1:]
    square, along = twice * planes[1:], twice * planes[0]
    out = np.empty((3, 3, *planes.shape[1:]))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        across = twice[i] * planes[1 + j]
        np.subtract(1.0 - square[j], square[k], out=out[i, i, ...])
        np.subtract(across, along[k], out=out[i, j, ...])
        np.add(across, along[k], out=out[j, i, ...])
    return np.moveaxis(out, (0, 1), (-2, -1)) if out.ndim != 3 else out.transpose(2, 0, 1)


def _matrix(w: float, x: float, y: float, z: float) -> Array:
    """`to_matrix` of one quaternion, for which arrays cost ten times as much."""
    return np.array(
        [
            [1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - w * z), 2.0 * (z * x + w * y)],
            [2.0 * (x * y + w * z), 1.0 - 2.0 * (z * z + x * x), 2.0 * (y * z - w * x)],
            [2.0 * (z * x - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)],
        ]
    )


def from_matrix(matrix: Array) -> Array:
    """Unit quaternions (..., 4) of rotation matrices (..., 3, 3), scalar part not negative.

    Of four equivalent forms the one with the largest component is taken, so that no accuracy is
    lost near half turns (Shepperd 1978, J Guidance Control 1:223-224).
    """
    m = matrix
    trace = m[..., 0, 0] + m[..., 1, 1] + m[..., 2, 2]
    # 4 q q^T, row by row; each row is the quaternion scaled by one of its own components
    square = np.empty((*m.shape[:-2], 4, 4))
    square[..., 0, 0] = 1.0 + trace
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        square[..., i + 1, i + 1] = 1.0 + 2.0 * m[..., i, i] - trace
        square[..., 0, i + 1] = square[..., i + 1, 0] = m[..., k, j] - m[..., j, k]
        square[..., i + 1, j + 1] = square[..., j + 1, i + 1] = m[..., j, i] + m[..., i, j]
    largest = np.argmax(np.diagonal(square, axis1=-2, axis2=-1), axis=-1)
    row = np.take_along_axis(square, largest[..., None, None], axis=-2)[..., 0, :]
    return normalise(row) * np.where(row[..., :1] < 0.0, -1.0, 1.0)


def cardan_yxz(quaternion: Array) -> Array:
    """Turn, obliquity and tilt of a segment in the world: angles of the sequence Y-X'-Z''.

    quaternion (..., 4) segment-to-world -> (..., 3) rad: about the vertical, in (-pi, pi], positive
    to the left; about the turned forward axis, in [-pi/2, pi/2], positive with the right side
    down; about the segment's own right axis, in (-pi, pi], negative when bent forward. The first
    is the heading of the hip or shoulder line seen from above (Baker 2001, Hum Mov Sci
    20:655-667, gives the argument for rotation first). With the right axis vertical only the sum
    of the outer two is defined; the third is then 0.
    """
    w, x, y, z = _parts(quaternion)
    right_x, right_z = 2.0 * (x * z + w * y), 1.0 - 2.0 * (x * x + y * y)
    horizontal = np.hypot(right_x, right_z)
    obliquity = np.arctan2(-2.0 * (y * z - w * x), horizontal)
    locked = horizontal < _GIMBAL_COSINE
    turn = np.arctan2(right_x, right_z)
    tilt = np.arctan2(2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z))
    if locked.any():
        alone = np.arctan2(-2.0 * (x * z - w * y), 1.0 - 2.0 * (y * y + z * z))
        turn, tilt = np.where(locked, alone, turn), np.where(locked, 0.0, tilt)
    return _together(turn, obliquity, tilt)


def heading(quaternion: Array) -> Array:
    """The turn of `cardan_yxz` alone, (...) rad, of segments whose right axis is not vertical."""
    w, x, y, z = _parts(quaternion)
    turn: Array = np.arctan2(2.0 * (x * z + w * y), 1.0 - 2.0 * (x * x + y * y))
    return turn


def heights(quaternion: Array) -> tuple[Array, Array]:
    """Heights of the segment's forward and upward axes, (...) each, by which it leans and bends:
    with the angles b, c of `cardan_yxz`, cos b sin c and cos b cos c."""
    w, x, y, z = _parts(quaternion)
    return 2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z)


def cardan_zxy(quaternion: Array) -> Array:
    """Angles of the sequence Z-X'-Y'': quaternion (..., 4) -> (..., 3) rad.

    First and third in (-pi, pi], middle in [-pi/2, pi/2]. With the middle at a right angle only
    the sum of the outer two is defined; the third is then 0.
    """
    w, x, y, z = _parts(quaternion)
    up_x, up_y = 2.0 * (x * y - w * z), 1.0 - 2.0 * (x * x + z * z)
    level = np.hypot(up_x, up_y)
    second = np.arctan2(2.0 * (y * z + w * x), level)
    locked = level < _GIMBAL_COSINE
    first = np.arctan2(-up_x, up_y)
    third = np.arctan2(-2.0 * (x * z - w * y), 1.0 - 2.0 * (x * x + y * y))
    if locked.any():
        alone = np.arctan2(2.0 * (x * y + w * z), 1.0 - 2.0 * (y * y + z * z))
        first, third = np.where(locked, alone, first), np.where(locked, 0.0, third)
    return _together(first, second, third)


def from_cardan_yxz(angles: Array) -> Array:
    """Inverse of `cardan_yxz`: (..., 3) rad -> (..., 4)."""
    first, second, third = (from_axis(axis, angles[..., k]) for k, axis in enumerate((1, 0, 2)))
    return multiply(multiply(first, second), third)


def from_cardan_zxy(angles: Array) -> Array:
    """Inverse of `cardan_zxy`: (..., 3) rad -> (..., 4)."""
    first, second, third = (from_axis(axis, angles[..., k]) for k, axis in enumerate((2, 0, 1)))
    return multiply(multiply(first, second), third)


def spine_joint_angles(pelvis: Array, upper_back: Array) -> Array:
    """ISB joint coordinate system of the spine: upper back relative to pelvis.

    Both (..., 4) segment-to-world with a common heading -> (..., 3) rad: flexion about the
    pelvis's right axis (negative when bent forward), lateral bend about the floating axis
    (positive to the right), axial rotation about the upper back's long axis (positive to the
    left). Wu et al. 2002, J Biomech 35:543-548: first axis in the proximal, third in the distal
    segment, the floating one square to both, which is the Cardan sequence Z-X'-Y''.
    """
    return cardan_zxy(multiply(conjugate(pelvis), upper_back))


def spine_axial_rotation(pelvis: Array, upper_back: Array) -> Array:
    """The last of `spine_joint_angles` alone, (...) rad, for a spine that is not bent sideways by a
    right angle."""
    w, x, y, z = _parts(multiply(conjugate(pelvis), upper_back))
    axial: Array = np.arctan2(-2.0 * (x * z - w * y), 1.0 - 2.0 * (x * x + y * y))
    return axial


def unwrap(angles: Array) -> Array:
    """Angles (n, ...) rad along time without jumps of whole turns; the first value stays."""
    turns = np.rint((angles[1:] - angles[:-1]) / (2.0 * np.pi))
    if not turns.any():
        return angles
    unwrapped = angles.copy()
    unwrapped[1:] -= 2.0 * np.pi * np.cumsum(turns, axis=0)
    return unwrapped


def cross(first: Array, second: Array) -> Array:
    """Cross products of vectors by component, (3, ...) each; shapes of as many axes broadcast."""
    one, other = np.concatenate((first, first[:2])), np.concatenate((second, second[:2]))
    product: Array = one[1:4] * other[2:]
    product -= one[2:] * other[1:4]
    return product


def _together(*parts: Array) -> Array:
    """Components (...) as (..., k)."""
    return _stacked(np.array(parts))


def _pairs(quaternion: Array) -> npt.NDArray[np.complex128]:
    """Quaternions w + x i + y j + z k (..., 4) as (w + x i) + (y + z i) j, (..., 2)."""
    return np.ascontiguousarray(quaternion, dtype=np.float64).view(np.complex128)


def _parts(stack: Array) -> tuple[Array, ...]:
    """Components along the last axis: adjacent in memory where there are many."""
    return tuple(_planes(stack))


def _planes(stack: Array) -> Array:
    """Stacks (..., k) by component (k, ...), each adjacent in memory: what comes next is faster."""
    if stack.ndim <= 2:
        return np.ascontiguousarray(stack.T)
    return np.ascontiguousarray(stack.transpose(-1, *range(stack.ndim - 1)))


def _stacked(planes: Array) -> Array:
    """Back from components (k, ...) to stacks (..., k), on the same memory."""
    return planes.T if planes.ndim <= 2 else planes.transpose(*range(1, planes.ndim), 0)


def _squares(planes: Array) -> Array:
    """Sum of squares over components (k, ...), in their order."""
    total: Array = np.square(planes[0])
    for plane in planes[1:]:
        total += np.square(plane)
    return total
