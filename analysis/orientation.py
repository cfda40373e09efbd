"""From one sensor's samples around a swing to how its segment moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import rotation
from analysis.averaging import at_stamps
from analysis.errors import SampleError
from analysis.gravity import Vertical, after_knots, fit_verticals
from analysis.quantiles import median
from analysis.quiet import GyroBias, QuietSpell, gyro_biases, quiet_spells
from analysis.results import Fixing, Flag, Interval, Mounting
from analysis.ride import without_ride
from analysis.samples import Array, RateSample, SampleTable
from analysis.vertical_model import Measured

Mask = npt.NDArray[np.bool_]

GAP_FACTOR = 2.5
"""A step longer than this many usual steps is a gap: one lost sample is bridged unmarked."""
CLIP_RUN = 3
"""So many equal samples at the extreme of an axis are a sensor at the end of its range."""
CLIP_LEAST = np.radians(240.0)
"""rad/s; under the smallest range on the market (250 deg/s) nothing can be clipped."""
GRAVITY_WITHIN = 0.3
"""Mean specific force over a window is gravity to a few percent, and offsets of consumer parts are
0.06 g; values in g taken for m/s^2 are off by 0.9."""
LARGEST_MISFIT = 10.0
"""Mean squared residual of the vertical over what the model expects: three times in size."""


@dataclass(frozen=True, slots=True)
class SegmentMotion:
    """How a segment moved. Segment axes x forward, y up, z right; heading free, 0 at the start.

    time_s (n,) s; turned (n, 4), and upright (K, 4) at knots_s (K,): the segment turned into a
    nearly still frame, and the turns of that frame into the world, see `oriented`;
    angular_velocity (n, 3) rad/s and specific_force (n, 3) m/s^2 in segment axes, bias removed;
    clipped (n,) where the gyro was at
    the end of its range; step_s: the usual step between samples, s; gaps: stretches without
    samples, bridged by the rate on both sides; spells: the quiet spells used.

    For uncertainty: bias_covariance (3, 3) (rad/s)^2 in segment axes; tilt_u_rad of the vertical
    at address, each axis; noise_density rad/s/sqrt(Hz), one-sided, each axis; mounting as given.
    """

    time_s: Array
    turned: Array
    upright: Array
    knots_s: Array
    angular_velocity: Array
    specific_force: Array
    clipped: Mask
    step_s: float
    gaps: tuple[Interval, ...]
    spells: tuple[QuietSpell, ...]
    bias_covariance: Array
    tilt_u_rad: float
    noise_density: float
    mounting: Mounting
    flags: tuple[Flag, ...]

    def oriented(self, rows: slice) -> Array:
        """Orientation (m, 4), segment-to-world, of m rows."""
        return after_knots(self.time_s[rows], self.turned[rows], self.knots_s, self.upright)

    @property
    def orientation(self) -> Array:
        """Orientation (n, 4), segment-to-world, of all rows."""
        return self.oriented(slice(None))


def segment_motion(
    samples: SampleTable,
    mounting: Mounting,
    *,
    gyro_range: float | None = None,
) -> SegmentMotion:
    """Orientation and angular velocity of a segment over one swing's window.

    samples: the swing with the quiet before and after it; a window from 20 s before the swing
    serves best, as each quiet spell in it sharpens the bias. gyro_range rad/s: where known,
    samples at its end are marked as clipped. Of a sensor that averages, the rates at its time
    stamps are taken first; taken for instants, its means would put velocity half a sample late.

    Raises SampleError with fewer than two samples.
    """
    return segment_motions([samples], [mounting], gyro_range=gyro_range)[0]


def segment_motions(
    tables: Sequence[SampleTable],
    mountings: Sequence[Mounting],
    *,
    gyro_range: float | None = None,
) -> list[SegmentMotion]:
    """Motions of several segments, each as by `segment_motion` and independent of the others."""
    for samples in tables:
        if len(samples) < 2:
            raise SampleError(
                f"segment motion: expected at least 2 samples, received {len(samples)}"
            )
    spells = [quiet_spells(samples) for samples in tables]
    biases = gyro_biases(spells)
    windows = [_measured(*one) for one in zip(tables, mountings, biases, strict=True)]
    fits = fit_verticals(windows)
    known = zip(spells, windows, fits, _uprights(fits), strict=True)
    return [
        _motion(samples, mounting, *of_one, gyro_range)
        for samples, mounting, of_one in zip(tables, mountings, known, strict=True)
    ]


def _measured(samples: SampleTable, mounting: Mounting, at_rest: GyroBias) -> Measured:
    """Rates and forces in segment axes, without the bias that quiet shows."""
    matrix = rotation.to_matrix(mounting.rotation)
    # axis by axis in memory, as what comes next will want them
    force = matrix @ samples.accel.T
    rate = matrix @ (_turning(samples, mounting).T - at_rest.rate[:, None])
    return Measured(
        samples.time_s,
        rate.T,
        force.T,
        int(rotation.squared_length(rate.T).argmax()),
        matrix @ at_rest.covariance @ matrix.T,
    )


def _motion(  # noqa: PLR0917 - all that is known of it
    samples: SampleTable,
    mounting: Mounting,
    spells: tuple[QuietSpell, ...],
    measured: Measured,
    fit: Vertical,
    upright: Array,
    gyro_range: float | None,
) -> SegmentMotion:
    time_s = samples.time_s
    steps_s = time_s[1:] - time_s[:-1]
    step_s = median(steps_s)
    clipped, gaps = _clipped(samples.gyro, gyro_range), _gaps(time_s, steps_s, step_s)
    return SegmentMotion(
        time_s,
        fit.turned,
        upright,
        fit.knots_s,
        (measured.rate.T - fit.bias[:, None]).T,
        measured.force,
        clipped,
        step_s,
        gaps,
        spells,
        fit.bias_covariance,
        fit.tilt_u_rad,
        _noise_density(samples.gyro, step_s),
        mounting,
        _flags(clipped, gaps, spells, fit),
    )


def _turning(samples: SampleTable, mounting: Mounting) -> Array:
    """The segment's own rate (n, 3) at the time stamps, rad/s, in sensor axes, bias in it."""
    gyro = samples.gyro
    if samples.rate_sample is RateSample.MEAN:
        gyro = at_stamps(samples.time_s, gyro)
    if mounting.fixing is Fixing.STRAPPED:
        gyro = without_ride(samples.time_s, gyro)
    return gyro


def _uprights(fits: Sequence[Vertical]) -> list[Array]:
    """For each segment, turns (K, 4) at its knots that bring the vertical along the world's y axis,
    with heading 0 at the start.

    One turn brings the mean vertical upright; what is left is small at every knot, so the
    shortest turns that remove it add nothing to the heading and may be interpolated.
    """
    if len({fit.knots_s.size for fit in fits}) > 1:
        return [turns for fit in fits for turns in _uprights([fit])]
    up, amended = np.array([fit.up for fit in fits]), np.array([fit.amended for fit in fits])
    level = rotation.to_upright(np.array([fit.mean_up for fit in fits]))[:, None]
    rest = rotation.to_upright(rotation.rotate(level, up))
    turns = rotation.multiply(rest, rotation.multiply(level, amended))
    start = np.array([fit.turned[0] for fit in fits])
    heading = rotation.heading(rotation.multiply(turns[:, 0], start))
    turns = rotation.multiply(rotation.from_axis(1, -heading)[:, None], turns)
    # without gravity, better the segment's own long axis at the start than nothing; it is flagged
    return [
        turn if _shows_gravity(fit.mean_up) else fit.amended
        for fit, turn in zip(fits, turns, strict=True)
    ]


def _shows_gravity(up: Array) -> bool:
    """Whether a vertical in units of gravity has about the length it must have."""
    return abs(math.sqrt(up @ up) - 1.0) < GRAVITY_WITHIN


def _clipped(gyro: Array, gyro_range: float | None) -> Mask:
    if gyro_range is not None:
        return np.asarray((np.abs(gyro) >= 0.999 * gyro_range).any(axis=1), dtype=np.bool_)
    clipped = np.zeros(gyro.shape[0], dtype=np.bool_)
    for axis, *extremes in zip(gyro.T, gyro.max(axis=0), gyro.min(axis=0), strict=True):
        for extreme in extremes:
            if abs(extreme) < CLIP_LEAST:
                continue
            held = np.flatnonzero(axis == extreme)
            if held.size < CLIP_RUN:
                continue
            for run in np.split(held, np.flatnonzero(np.diff(held) > 1) + 1):
                clipped[run] |= run.size >= CLIP_RUN
    return clipped


def _gaps(time_s: Array, steps_s: Array, step_s: float) -> tuple[Interval, ...]:
    long = (steps_s > GAP_FACTOR * step_s).nonzero()[0]
    return tuple(Interval(float(time_s[k]), float(time_s[k + 1])) for k in long)


def _noise_density(gyro: Array, step_s: float) -> float:
    """White rate noise from the median second difference, which motion hardly touches."""
    if gyro.shape[0] < 3:
        return 0.0
    planes = gyro[: gyro.shape[0] // 3 * 3].T
    second = planes[:, 2::3] - 2.0 * planes[:, 1::3] + planes[:, ::3]
    sd = median(np.abs(second)) / 0.6745 / np.sqrt(6.0)
    return float(sd * np.sqrt(2.0 * step_s))


def _flags(
    clipped: Mask, gaps: tuple[Interval, ...], spells: tuple[QuietSpell, ...], fit: Vertical
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
    if not _shows_gravity(fit.mean_up):
        flags.append(
            Flag(
                "no_gravity",
                "The accelerometer does not show gravity (9.8 m/s^2 at rest): tilt and turn are "
                "guesses. Check the sensor and the unit of its values.",
            )
        )
    elif fit.misfit > LARGEST_MISFIT:
        flags.append(
            Flag(
                "gravity_disagrees",
                "Gyro and accelerometer contradict each other: check axes and scale of the sensor.",
            )
        )
    return tuple(flags)
