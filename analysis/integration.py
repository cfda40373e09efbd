"""Angular velocity to orientation: the exact rotation of each step, multiplied up.

Each orientation is the one before it times a step, which is linear in its components: all of them
together are a banded system of equations, triangular, whose solution is that running product.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import blas

from analysis import rotation
from analysis.errors import SampleError
from analysis.samples import Array, RateSample

_CHUNK = 4096
"""Steps taken at a time: what a second-level cache holds. Measured, not derived."""
_SERIES_LIMIT = 0.007
"""rad^2, squared half angle up to which the series below are good to 1e-16 (steps of 9.5 degrees,
1900 deg/s at 200 Hz)."""
_COSINE = (1 / 40320, -1 / 720, 1 / 24, -1 / 2, 1.0)
"""cos h in powers of h^2, highest first."""
_HALF_SINC = (1 / 725760, -1 / 10080, 1 / 240, -1 / 12, 1 / 2)
"""sin h / (2 h), likewise."""


def step_vectors(time_s: Array, rate: Array, kind: RateSample = RateSample.INSTANT) -> Array:
    """Rotation vector of each step between samples, in the axes at its start.

    time_s (n,) s, increasing, any spacing; rate (n, 3) rad/s -> (n - 1, 3) rad. The integral of
    the rate plus the coning term, which is what the change of the axis within the step adds
    (Bortz 1971, IEEE Trans Aerosp Electron Syst 7:61-66). INSTANT: the rate is linear between
    samples, the term dt^2/12 (w0 x w1). MEAN: each sample's own angle and (previous angle x
    angle)/12 (Miller 1983, J Guidance Control 6:287-291). Exact about a fixed axis.
    """
    planes = np.ascontiguousarray(rate.T)
    dt, dt_before = _intervals(time_s, kind)
    parts = _steps(planes[:, :-1], planes[:, 1:], dt, dt_before, kind)
    steps: Array = np.stack(parts, axis=-1)
    return steps


def integrate(
    time_s: Array,
    rate: Array,
    start: Array = rotation.IDENTITY,
    *,
    kind: RateSample = RateSample.INSTANT,
) -> Array:
    """Orientation at each sample from the angular velocity in the moving axes.

    time_s (n,) s; rate (n, 3) rad/s, segment axes; start (4,) orientation at the first sample,
    segment-to-world; kind: see RateSample -> (n, 4) unit quaternions, segment-to-world.

    Raises SampleError when the shapes do not fit.
    """
    if time_s.ndim != 1 or rate.shape != (time_s.size, 3):
        raise SampleError(f"rate: expected shape ({time_s.size}, 3), received {rate.shape}")
    out = np.empty((time_s.size, 4))
    out[:1] = start
    planes = np.ascontiguousarray(rate.T)
    dt, dt_before = _intervals(time_s, kind)
    for first in range(0, dt.size, _CHUNK):
        part = slice(first, min(first + _CHUNK, dt.size))
        after = slice(first + 1, part.stop + 1)
        steps = _steps(planes[:, part], planes[:, after], dt[part], dt_before[part], kind)
        # unit again at each chunk, so that rounding does not grow with the record
        out[after] = _followed(rotation.normalise(out[first]), steps)
    return out


def _intervals(time_s: Array, kind: RateSample) -> tuple[Array, Array]:
    """Length of each step, and the time that the sample at its start stands for in the coning."""
    dt = time_s[1:] - time_s[:-1]
    if kind is RateSample.INSTANT:
        return dt, dt
    return dt, np.concatenate((np.zeros(min(dt.size, 1)), dt[:-1]))


def _steps(
    before: Array, after: Array, dt: Array, dt_before: Array, kind: RateSample
) -> tuple[Array, Array, Array]:
    """Components of the step vectors, from rates (3, ...) at both ends and times (...)."""
    factor = dt * dt_before
    factor *= 1.0 / 12.0
    angle = before + after if kind is RateSample.INSTANT else after.copy()
    angle *= 0.5 * dt if kind is RateSample.INSTANT else dt
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        coning = before[j] * after[k]
        coning -= before[k] * after[j]
        coning *= factor
        angle[i] += coning
    return angle[0], angle[1], angle[2]


def _followed(start: Array, steps: tuple[Array, Array, Array]) -> Array:
    """Orientations (n, 4) after each of n steps from `start` (4,).

    A quaternion is a + b j with complex a = w + x i and b = y + z i. From one to the next,
        (a + b j)(c + d j) = (a c - b d*) + (a d + b c*) j,
    are two equations in four unknowns. `band` holds the matrix of all of them by its columns, of a
    and b in turn, from the diagonal down, each number as its real and imaginary part.
    """
    w, x, y, z = _step_quaternions(steps)
    band = np.zeros((w.size + 1, 2, 4, 2))
    by_a, by_b = band[:-1, 0], band[:-1, 1]
    # -c and -d
    by_a[:, 2, 0], by_a[:, 2, 1], by_a[:, 3, 0], by_a[:, 3, 1] = -w, -x, -y, -z
    # d* and -c*
    by_b[:, 1, 0], by_b[:, 1, 1], by_b[:, 2, 0], by_b[:, 2, 1] = y, -z, -w, x
    right = np.zeros(2 * w.size + 2, dtype=np.complex128)
    right[:2] = complex(start[0], start[1]), complex(start[2], start[3])
    matrix = band.view(np.complex128).reshape(-1, 4).T
    solved: Array = blas.ztbsv(3, matrix, right, lower=1, diag=1, overwrite_x=1).view(np.float64)
    return solved.reshape(-1, 4)[1:]


def _step_quaternions(steps: tuple[Array, Array, Array]) -> tuple[Array, ...]:
    """w, x, y, z of rotation vectors given by components, all of one shape."""
    x, y, z = steps
    square = x * x
    square += y * y
    square += z * z
    square *= 0.25
    if square.max() > _SERIES_LIMIT:
        quaternion = rotation.from_rotation_vector(np.stack(steps, axis=-1))
        return tuple(np.moveaxis(quaternion, -1, 0))
    scale = _polynomial(_HALF_SINC, square)
    return _polynomial(_COSINE, square), x * scale, y * scale, z * scale


def _polynomial(coefficients: tuple[float, ...], x: Array) -> Array:
    value = coefficients[0] * x
    for coefficient in coefficients[1:-1]:
        value += coefficient
        value *= x
    value += coefficients[-1]
    return value
