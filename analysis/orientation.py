"""From one sensor's samples around a swing to how its segment moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import rotation
from analysis.errors import SampleError
from analysis.integration import integrate
from analysis.quiet import STANDARD_GRAVITY, QuietSpell, gyro_bias, quiet_spells
from analysis.results import Flag, Interval, Mounting
from analysis.samples import Array, SampleTable

Mask = npt.NDArray[np.bool_]

GAP_FACTOR = 2.5
"""A step longer than this many usual steps is a gap: one lost sample is bridged unmarked."""
CLIP_RUN = 3
"""So many equal samples at the extreme of an axis are a sensor at the end of its range."""
CLIP_LEAST = np.radians(240.0)
"""rad/s; under the smallest range on the market (250 deg/s) nothing can be clipped."""
NO_TILT_U = np.radians(20.0)
"""rad; tilt uncertainty where no quiet spell shows gravity."""


@dataclass(frozen=True, slots=True)
class SegmentMotion:
    """How a segment moved. Segment axes x forward, y up, z right; heading free, 0 at the start.

    time_s (n,) s; orientation (n, 4) segment-to-world; angular_velocity (n, 3) rad/s and
    specific_force (n, 3) m/s^2 in segment axes, bias removed; clipped (n,) where the gyro was at
    the end of its range; gaps: stretches without samples, bridged by the rate on both sides;
    spells: the quiet spells used.

    For uncertainty: bias_covariance (3, 3) (rad/s)^2 in segment axes; tilt_u_rad of the vertical
    at `reference_s`; noise_density rad/s/sqrt(Hz), one-sided, each axis; mounting as given.
    """

    time_s: Array
    orientation: Array
    angular_velocity: Array
    specific_force: Array
    clipped: Mask
    gaps: tuple[Interval, ...]
    spells: tuple[QuietSpell, ...]
    bias_covariance: Array
    tilt_u_rad: float
    reference_s: float
    noise_density: float
    mounting: Mounting
    flags: tuple[Flag, ...]


def segment_motion(
    samples: SampleTable, mounting: Mounting, *, gyro_range: float | None = None
) -> SegmentMotion:
    """Orientation and angular velocity of a segment over one swing's window.

    samples: the swing with the quiet before and after it; a window from 20 s before the swing
    serves best, as each quiet spell in it sharpens the bias. gyro_range rad/s: where known,
    samples at its end are marked as clipped.

    Raises SampleError with fewer than two samples.
    """
    if len(samples) < 2:
        raise SampleError(f"segment motion: expected at least 2 samples, received {len(samples)}")
    spells = quiet_spells(samples)
    bias = gyro_bias(spells)
    rate = rotation.rotate(mounting.rotation, samples.gyro - bias.rate)
    force = rotation.rotate(mounting.rotation, samples.accel)
    turned = integrate(samples.time_s, rate)
    reference_s = float(samples.time_s[np.argmax(np.sum(rate * rate, axis=1))])
    vertical, tilt_u = _vertical(reference_s, turned, force, spells, bias.covariance)
    clipped = _clipped(samples.gyro, gyro_range)
    gaps = _gaps(samples.time_s)
    matrix = rotation.to_matrix(mounting.rotation)
    return SegmentMotion(
        samples.time_s,
        rotation.multiply(_level(vertical), turned),
        rate,
        force,
        clipped,
        gaps,
        spells,
        matrix @ bias.covariance @ matrix.T,
        tilt_u,
        reference_s,
        _noise_density(samples),
        mounting,
        _flags(clipped, gaps, spells),
    )


def _vertical(
    reference_s: float,
    turned: Array,
    force: Array,
    spells: tuple[QuietSpell, ...],
    bias_covariance: Array,
) -> tuple[Array, float]:
    """Gravity in the axes of the first sample, as best known at `reference_s`, and its uncertainty.

    Each spell's view is carried to the reference by the gyro, forwards from before and backwards
    from after, and weighted by its own noise and by the bias left over that time.
    """
    if not spells:
        mean = rotation.rotate(turned, force).mean(axis=0)
        return mean, NO_TILT_U
    bias_u = float(np.sqrt(np.trace(bias_covariance) / 3.0))
    views, weights = [], []
    for spell in spells:
        rows = slice(spell.first, spell.last)
        view = rotation.rotate(turned[rows], force[rows]).mean(axis=0)
        away = abs(0.5 * (spell.start_s + spell.end_s) - reference_s)
        u = np.hypot(max(spell.accel_u, 1e-3) / STANDARD_GRAVITY, bias_u * away)
        views.append(view / np.linalg.norm(view))
        weights.append(1.0 / u**2)
    total = float(np.sum(weights))
    return np.asarray(weights) @ np.array(views) / total, float(np.sqrt(1.0 / total))


def _level(vertical: Array) -> Array:
    """Turn that stands `vertical` upright and keeps the heading of the first sample's x axis."""
    upright = rotation.shortest_arc(vertical, np.array([0.0, 1.0, 0.0]))
    heading = rotation.cardan_yxz(upright)[0]
    return rotation.multiply(rotation.from_axis(1, -heading), upright)


def _clipped(gyro: Array, gyro_range: float | None) -> Mask:
    size = np.abs(gyro)
    if gyro_range is not None:
        return np.asarray((size >= 0.999 * gyro_range).any(axis=1), dtype=np.bool_)
    at_extreme = (gyro == gyro.max(axis=0)) | (gyro == gyro.min(axis=0))
    clipped = np.zeros(gyro.shape[0], dtype=np.bool_)
    for held in (at_extreme & (size >= CLIP_LEAST)).T:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], held.astype(np.int8), [0]))))
        for first, last in edges.reshape(-1, 2):
            clipped[first:last] |= last - first >= CLIP_RUN
    return clipped


def _gaps(time_s: Array) -> tuple[Interval, ...]:
    steps = np.diff(time_s)
    long = np.flatnonzero(steps > GAP_FACTOR * np.median(steps))
    return tuple(Interval(float(time_s[k]), float(time_s[k + 1])) for k in long)


def _noise_density(samples: SampleTable) -> float:
    """White rate noise from the median second difference, which motion hardly touches."""
    if len(samples) < 3:
        return 0.0
    second = np.diff(samples.gyro, n=2, axis=0)
    sd = float(np.median(np.abs(second))) / 0.6745 / np.sqrt(6.0)
    return float(sd * np.sqrt(2.0 * np.median(np.diff(samples.time_s))))


def _flags(
    clipped: Mask, gaps: tuple[Interval, ...], spells: tuple[QuietSpell, ...]
) -> tuple[Flag, ...]:
    flags = []
    if clipped.any():
        flags.append(
            Flag("clipped", f"{int(clipped.sum())} samples at the end of the gyro's range.")
        )
    if gaps:
        lost = sum(gap.end_s - gap.start_s for gap in gaps)
        flags.append(Flag("gap", f"{len(gaps)} gaps in the samples, {1000.0 * lost:.0f} ms."))
    if not spells:
        flags.append(Flag("no_quiet", "No quiet moment: bias and tilt of the sensor are guesses."))
    return tuple(flags)
