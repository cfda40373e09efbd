"""Angular velocity to orientation: the exact rotation of each step, multiplied up."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis import rotation
from analysis.errors import SampleError
from analysis.samples import Array

_Complex = npt.NDArray[np.complex128]

_SERIES_LIMIT = 0.02
"""Squared half angle up to which the series below is good to 1e-16 (a step of 16 degrees)."""
_SERIAL_LENGTH = 8
"""Products this few are done one after the other."""


def step_vectors(time_s: Array, rate: Array) -> Array:
    """Rotation vector of each step between samples, in the axes at its start.

    time_s (n,) s, increasing, any spacing; rate (n, 3) rad/s -> (n - 1, 3) rad. The rate is taken
    as linear between samples: its integral plus the first coning term dt^2/12 (w0 x w1), which is
    what the change of axis within the step adds (Bortz 1971, IEEE Trans Aerosp Electron Syst
    7:61-66, second-order term of the rotation vector equation). Local error O(dt^5) with the rate
    linear; a step of any size is otherwise exact about a fixed axis.
    """
    dt = np.diff(time_s)[:, None]
    before, after = rate[:-1], rate[1:]
    x0, y0, z0 = before.T
    x1, y1, z1 = after.T
    coning = np.stack((y0 * z1 - z0 * y1, z0 * x1 - x0 * z1, x0 * y1 - y0 * x1), axis=-1)
    steps: Array = (0.5 * dt) * (before + after) + (dt * dt / 12.0) * coning
    return steps


def integrate(time_s: Array, rate: Array, start: Array = rotation.IDENTITY) -> Array:
    """Orientation at each sample from the angular velocity in the moving axes.

    time_s (n,) s; rate (n, 3) rad/s, segment axes; start (4,) orientation at the first sample,
    segment-to-world -> (n, 4) unit quaternions, segment-to-world. No loop over samples: the
    running product is a blocked scan.

    Raises SampleError when the shapes do not fit.
    """
    if time_s.ndim != 1 or rate.shape != (time_s.size, 3):
        raise SampleError(f"rate: expected shape ({time_s.size}, 3), received {rate.shape}")
    out = np.empty((time_s.size, 4))
    if time_s.size == 0:
        return out
    left, right = _as_pair(rotation.from_rotation_vector(step_vectors(time_s, rate)))
    first_left, first_right = _as_pair(np.asarray(start, dtype=np.float64)[None])
    left, right = _running_product(
        np.concatenate((first_left, left)), np.concatenate((first_right, right))
    )
    out[:, 0], out[:, 1], out[:, 2], out[:, 3] = left.real, left.imag, right.real, right.imag
    return rotation.normalise(out)


def _as_pair(quaternion: Array) -> tuple[_Complex, _Complex]:
    """q = left + right j with left = w + x i, right = y + z i: two complex products do it all."""
    return (
        quaternion[..., 0] + 1j * quaternion[..., 1],
        quaternion[..., 2] + 1j * quaternion[..., 3],
    )


def _running_product(left: _Complex, right: _Complex) -> tuple[_Complex, _Complex]:
    """Products q0, q0 q1, q0 q1 q2, ... of n quaternions given as complex pairs (n,).

    Cut into blocks: products within all blocks at once, then the products of the whole blocks by
    the same function, then each block times all before it.
    """
    n = left.size
    length = math.isqrt(n)
    if length < _SERIAL_LENGTH:
        for k in range(1, n):
            left[k], right[k] = _product(left[k - 1], right[k - 1], left[k], right[k])
        return left, right
    blocks = -(-n // length)
    pad = blocks * length - n
    # one row for each place in the block, so that each pass runs over adjacent memory
    a = np.pad(left, (0, pad), constant_values=1.0).reshape(blocks, length).T.copy()
    b = np.pad(right, (0, pad)).reshape(blocks, length).T.copy()
    for k in range(1, length):
        a[k], b[k] = _product(a[k - 1], b[k - 1], a[k], b[k])
    block_a, block_b = _running_product(a[-1, :-1].copy(), b[-1, :-1].copy())
    a[:, 1:], b[:, 1:] = _product(block_a, block_b, a[:, 1:], b[:, 1:])
    return a.T.reshape(-1)[:n], b.T.reshape(-1)[:n]


def _product(a: _Complex, b: _Complex, c: _Complex, d: _Complex) -> tuple[_Complex, _Complex]:
    """(a + b j)(c + d j), using j c = conj(c) j."""
    return a * c - b * np.conj(d), a * d + b * np.conj(c)
