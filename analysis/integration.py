"""Angular velocity to orientation: the exact rotation of each step, multiplied up.

The running product is a blocked scan: products within all blocks at once, then the products of
whole blocks by the same scan, then each block times all before it.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis import rotation
from analysis.errors import SampleError
from analysis.samples import Array, RateSample

_Complex = npt.NDArray[np.complex128]

_LONGEST_BLOCK = 24
_CHUNK = 1667 * _LONGEST_BLOCK
"""Steps taken at a time: what a second-level cache holds, in an odd number of blocks, as rows a
power of two apart share cache lines. Measured, not derived."""
_SERIAL_LENGTH = 6
"""Products this few are done one after the other."""
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
    dt, dt_before = _intervals(time_s, kind)
    for first in range(0, dt.size, _CHUNK):
        part = slice(first, min(first + _CHUNK, dt.size))
        samples = rate[first : part.stop + 1]
        steps = _steps_in_blocks(samples, dt[part], dt_before[part], kind)
        # unit again at each chunk, so that rounding does not grow with the record
        _follow(rotation.normalise(out[first]), steps, out[first + 1 : part.stop + 1])
    return out


def _intervals(time_s: Array, kind: RateSample) -> tuple[Array, Array]:
    """Length of each step, and the time that the sample at its start stands for in the coning."""
    dt = np.diff(time_s)
    if kind is RateSample.INSTANT:
        return dt, dt
    return dt, np.concatenate((np.zeros(min(dt.size, 1)), dt[:-1]))


def _steps_in_blocks(
    rate: Array, dt: Array, dt_before: Array, kind: RateSample
) -> tuple[Array, Array, Array]:
    """Step vectors of n steps from n + 1 samples (n + 1, 3), one column (length,) a block.

    One row for each place in the block, so that later passes run over adjacent memory. The last
    block is filled up with steps of no length.
    """
    n = dt.size
    length = min(math.isqrt(n), _LONGEST_BLOCK) if n >= _SERIAL_LENGTH**2 else n
    blocks = -(-n // length)
    if blocks * length > n:
        rest = blocks * length - n
        dt, dt_before = (np.concatenate((a, np.zeros(rest))) for a in (dt, dt_before))
        rate = np.concatenate((rate, np.zeros((rest, 3))))
    planes = np.empty((3, length + 1, blocks))
    planes[:, :-1] = rate[:-1].reshape(blocks, length, 3).transpose(2, 1, 0)
    planes[:, -1] = rate[length::length].T
    rows = (np.ascontiguousarray(a.reshape(blocks, length).T) for a in (dt, dt_before))
    return _steps(planes[:, :-1], planes[:, 1:], next(rows), next(rows), kind)


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


def _follow(start: Array, steps: tuple[Array, Array, Array], out: Array) -> None:
    """Orientations after each step from `start` (4,), into out (n, 4); steps (length, blocks)."""
    length, blocks = steps[0].shape
    w, x, y, z = _step_quaternions(steps)
    # q = left + right j with left = w + x i, right = y + z i: complex products do the work
    left, right = np.empty(w.shape, dtype=np.complex128), np.empty(w.shape, dtype=np.complex128)
    left.real, left.imag, right.real, right.imag = w, x, y, z
    _running_product(left, right, complex(start[0], start[1]), complex(start[2], start[3]))
    whole = out if out.shape[0] == w.size else np.empty((w.size, 4))
    pairs = whole.view(np.complex128).reshape(blocks, length, 2)
    pairs[:, :, 0], pairs[:, :, 1] = left.T, right.T
    if whole is not out:
        out[:] = whole[: out.shape[0]]


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


def _running_product(left: _Complex, right: _Complex, start: complex, start_j: complex) -> None:
    """Turns columns (length, blocks) of factors into start times all products so far, in place.

    Order of the factors: down the first column, then down the second, and so on.
    """
    length, blocks = left.shape
    for k in range(1, length):
        left[k], right[k] = _product(left[k - 1], right[k - 1], left[k], right[k])
    heads = np.empty(blocks, dtype=np.complex128)
    heads_j = np.empty(blocks, dtype=np.complex128)
    heads[0], heads_j[0] = start, start_j
    if blocks > 1:
        _scan(left[-1, :-1], right[-1, :-1], heads, heads_j)
    for k in range(length):
        left[k], right[k] = _product(heads, heads_j, left[k], right[k])


def _scan(left: _Complex, right: _Complex, heads: _Complex, heads_j: _Complex) -> None:
    """Running product of n factors from heads[0] on, into heads[1:]."""
    n = left.size
    length = math.isqrt(n) if n >= _SERIAL_LENGTH**2 else n
    blocks = -(-n // length)
    inner = np.ones((blocks, length), dtype=np.complex128)
    inner_j = np.zeros((blocks, length), dtype=np.complex128)
    inner.reshape(-1)[:n], inner_j.reshape(-1)[:n] = left, right
    a, b = inner.T.copy(), inner_j.T.copy()
    _running_product(a, b, complex(heads[0]), complex(heads_j[0]))
    heads[1:], heads_j[1:] = a.T.reshape(-1)[:n], b.T.reshape(-1)[:n]


def _product(a: _Complex, b: _Complex, c: _Complex, d: _Complex) -> tuple[_Complex, _Complex]:
    """(a + b j)(c + d j), using j c = conj(c) j."""
    left, right = a * c, a * d
    left -= b * d.conj()
    right += b * c.conj()
    return left, right
