"""A body-worn inertial sensor and what is wrong with it: true motion in, samples out.

The sensor samples evenly on its own clock. Data-sheet figures behind the defaults: a +-2000 deg/s
consumer part has 0.005 deg/s/sqrt(Hz) noise, up to 20 deg/s zero-rate offset, 3 % scale and 2 %
cross-axis error (PS-MPU-6000A-00 rev 3.4, section 6.1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.signal import cont2discrete, lfilter
from scipy.spatial.transform import Rotation

from sensors.body_motion import STANDARD_GRAVITY, BodyMotion, SegmentState
from sensors.errors import SimulationError
from sensors.smooth_path import Array, Knot, derivatives, smooth_path
from sensors.wire import RateSample, SegmentName

_RINGING_S = 0.06
"""A strike has died away after this time."""
_PARTS = 8
"""Instants whose mean a sensor that averages gives: the true mean to 1/64 of the bend in a step."""
_COUNTS = 32767
"""Largest count of a 16-bit sensor axis."""

_REACTION = np.array([0.0, STANDARD_GRAVITY, 0.0])
"""Specific force of a body at rest, world axes."""

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Strike:
    """How the ball's strike shows in the accelerometer: a damped ring that starts at impact.

    peak m/s^2, frequency Hz, decay s, along `direction` in segment axes; of our own choosing.
    """

    peak: float = 30.0
    frequency_hz: float = 70.0
    decay_s: float = 0.008
    direction: Vector = (0.3, 0.9, 0.3)

    def acceleration(self, since_s: Array) -> Array:
        """Acceleration (n, 3) in segment axes at times since impact (n,); zero before."""
        late = np.clip(since_s, 0.0, None)
        ring = np.exp(-late / self.decay_s) * np.sin(2.0 * np.pi * self.frequency_hz * late)
        return np.outer(self.peak * ring, np.asarray(self.direction))


@dataclass(frozen=True, slots=True)
class SoftTissue:
    """The sensor rides on the segment like a mass on a lightly damped spring."""

    frequency_hz: float = 10.0
    damping: float = 0.15
    share: float = 1.0
    """Part of the segment's angular acceleration that drives the ride."""


@dataclass(frozen=True, slots=True)
class Slip:
    """The sensor slides on its segment: turns about an own axis, at a session time, for good."""

    at_s: float
    angle_deg: float
    axis: Vector = (1.0, 0.0, 0.0)
    duration_s: float = 0.3

    def turned(self, time_s: Array) -> tuple[Array, Array]:
        """Rotation vector (n, 3) rad of the slip so far, and its rate, rad/s, sensor axes."""
        knots = (Knot(self.at_s, 0.0), Knot(self.at_s + self.duration_s, self.angle_deg))
        angle, rate = derivatives(smooth_path(knots, np.pi / 180.0), time_s, 1)
        unit = np.asarray(self.axis) / np.linalg.norm(self.axis)
        return np.outer(angle, unit), np.outer(rate, unit)


@dataclass(frozen=True, slots=True)
class SensorFaults:
    """One sensor: how it is worn, its clock, its errors. As it stands: an ideal sensor at 200 Hz.

    mounting: unit quaternion, scalar first, sensor axes to segment axes. place_m: where it sits in
    segment axes from the segment's origin. clock: device time = (time - clock_offset_s) *
    (1 + clock_drift_ppm * 1e-6); one tick is tick_s of it. gyro_bias_dps, accel_bias in sensor
    axes; gyro_bias_walk deg/s per sqrt(s). gyro_scale: relative error of each axis; misalignment:
    (i, j) small off-diagonal of the measuring axes. noise densities in deg/s/sqrt(Hz) and
    m/s^2/sqrt(Hz). Ranges deg/s and m/s^2; None: none, and no counts. batch_loss: chance that a
    batch of `batch_samples` is lost; gaps: stretches of session time without samples, s.
    averages: a sample is the mean of what was felt since the sample before, not what is felt then.

    Raises SimulationError for a number that no sensor has.
    """

    rate_hz: float = 200.0
    mounting: tuple[float, float, float, float] = (1.0, 0.0, 0.0, 0.0)
    place_m: Vector = (0.0, 0.0, 0.0)
    clock_offset_s: float = 0.0
    clock_drift_ppm: float = 0.0
    tick_s: float = 0.001
    gyro_bias_dps: Vector = (0.0, 0.0, 0.0)
    gyro_bias_walk: float = 0.0
    gyro_noise: float = 0.0
    gyro_scale: Vector = (0.0, 0.0, 0.0)
    misalignment: Sequence[Vector] = ((0.0, 0.0, 0.0),) * 3
    gyro_range_dps: float | None = None
    accel_bias: Vector = (0.0, 0.0, 0.0)
    accel_noise: float = 0.0
    accel_range: float | None = None
    strike: Strike | None = None
    soft_tissue: SoftTissue | None = None
    slip: Slip | None = None
    batch_samples: int = 20
    batch_loss: float = 0.0
    gaps: tuple[tuple[float, float], ...] = ()
    averages: bool = False

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("rate_hz", self.rate_hz, 10.0, 8000.0),
            ("tick_s", self.tick_s, 1e-9, 1.0),
            ("batch_samples", self.batch_samples, 1, 2000),
            ("batch_loss", self.batch_loss, 0.0, 1.0),
            ("clock_drift_ppm", self.clock_drift_ppm, -1000.0, 1000.0),
        ):
            if not low <= value <= high:
                raise SimulationError(f"{name}: expected {low} to {high}, received {value}")
        length = float(np.linalg.norm(self.mounting))
        if not 0.99 <= length <= 1.01:
            raise SimulationError(f"mounting: expected a unit quaternion, its length is {length}")

    @property
    def rate_sample(self) -> RateSample | None:
        """What the sensor states of its gyro samples; nothing where they are instants."""
        return "mean" if self.averages else None


Counts = np.ndarray[tuple[int], np.dtype[np.int64]]


class SensorSamples(NamedTuple):
    """n samples of one sensor in its own axes.

    number (n,): sample count since the sensor was switched on, no holes where nothing was lost.
    time_s (n,): session time as a perfect clock would say. ticks (n,): the device's own clock.
    gyro (n, 3) rad/s, accel (n, 3) m/s^2 (specific force).
    """

    number: Counts
    time_s: Array
    ticks: Counts
    gyro: Array
    accel: Array

    def rows(self, first: int, last: int) -> SensorSamples:
        """Rows first to last, last exclusive, as views on the same memory."""
        return SensorSamples(
            self.number[first:last],
            self.time_s[first:last],
            self.ticks[first:last],
            self.gyro[first:last],
            self.accel[first:last],
        )


def join_samples(parts: Sequence[SensorSamples]) -> SensorSamples:
    """Stretches of samples, one after another, as one."""
    return SensorSamples(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


class SimulatedSensor:
    """Samples a segment's motion stretch by stretch, in order; carries its state between them."""

    def __init__(self, segment: SegmentName, faults: SensorFaults, seed: Sequence[int]) -> None:
        self.segment = segment
        self.faults = faults
        self._seed = tuple(seed)
        self._stretch = 0
        self._next = 0
        self._bias = np.radians(np.asarray(faults.gyro_bias_dps))
        inner_hz = faults.rate_hz * (_PARTS if faults.averages else 1)
        self._ride = _Ride(faults.soft_tissue, inner_hz) if faults.soft_tissue else None
        self._to_sensor = Rotation.from_quat(faults.mounting, scalar_first=True).inv()
        self._period_s = 1.0 / (faults.rate_hz * (1.0 + faults.clock_drift_ppm * 1e-6))
        first = np.random.default_rng(self._seed).uniform(0.0, self._period_s)
        self._first_s: float | None = None
        self._phase_s = float(first)

    def sample(self, motion: BodyMotion, impacts_s: Sequence[float] = ()) -> SensorSamples:
        """Samples that fall into the motion's stretch; call with adjoining stretches only."""
        if self._first_s is None:
            self._first_s = motion.start_s + self._phase_s
        last = int(np.ceil((motion.end_s - self._first_s) / self._period_s))
        number = np.arange(self._next, max(last, self._next), dtype=np.int64)
        self._next = max(last, self._next)
        time_s = np.asarray(self._first_s + number * self._period_s, dtype=np.float64)
        rng = np.random.default_rng((*self._seed, self._stretch))
        self._stretch += 1
        gyro, force = self._output(motion, time_s, impacts_s)
        gyro = self._measured_gyro(gyro, rng)
        force = self._measured_force(force, rng)
        device_s = (time_s - self.faults.clock_offset_s) * (
            1.0 + self.faults.clock_drift_ppm * 1e-6
        )
        ticks = np.floor(device_s / self.faults.tick_s + 1e-6).astype(np.int64)
        kept = self._kept(number, time_s, rng)
        return SensorSamples(number[kept], time_s[kept], ticks[kept], gyro[kept], force[kept])

    def _output(
        self, motion: BodyMotion, time_s: Array, impacts_s: Sequence[float]
    ) -> tuple[Array, Array]:
        """What a sensor without errors gives at its outputs: what it feels then, or the mean."""
        at_s = time_s
        if self.faults.averages:
            back_s = self._period_s * (np.arange(_PARTS)[::-1] + 0.5) / _PARTS
            at_s = (time_s[:, None] - back_s).ravel()
        gyro, force = self._felt(motion.segment(self.segment, at_s), at_s, impacts_s)
        if not self.faults.averages:
            return gyro, force
        return gyro.reshape(-1, _PARTS, 3).mean(axis=1), force.reshape(-1, _PARTS, 3).mean(axis=1)

    def _felt(
        self, state: SegmentState, time_s: Array, impacts_s: Sequence[float]
    ) -> tuple[Array, Array]:
        """True angular velocity and specific force at the sensor, in sensor axes."""
        rate = state.angular_velocity
        arm = np.broadcast_to(np.asarray(self.faults.place_m), rate.shape)
        to_segment = Rotation.from_quat(state.orientation, scalar_first=True).inv()
        force = to_segment.apply(state.acceleration + _REACTION)
        force += np.cross(state.angular_acceleration, arm)
        force += np.cross(rate, np.cross(rate, arm))
        if self.faults.strike is not None:
            for impact_s in impacts_s:
                near = (time_s >= impact_s) & (time_s <= impact_s + _RINGING_S)
                force[near] += self.faults.strike.acceleration(time_s[near] - impact_s)
        if self._ride is not None:
            rate, force = self._ride.ride(state.angular_acceleration, rate, force)
        rate, force = self._to_sensor.apply(rate), self._to_sensor.apply(force)
        if self.faults.slip is None:
            return rate, force
        turned, own = self.faults.slip.turned(time_s)
        to_slipped = Rotation.from_rotvec(turned).inv()
        return to_slipped.apply(rate) + own, to_slipped.apply(force)

    def _measured_gyro(self, gyro: Array, rng: np.random.Generator) -> Array:
        faults = self.faults
        n, rate_hz = len(gyro), faults.rate_hz
        matrix = np.asarray(faults.misalignment) + np.diag(1.0 + np.asarray(faults.gyro_scale))
        measured = gyro @ matrix.T
        steps = rng.standard_normal((n, 3)) * np.radians(faults.gyro_bias_walk) / np.sqrt(rate_hz)
        bias = self._bias + np.cumsum(steps, axis=0)
        if n:
            self._bias = bias[-1]
        noise = np.radians(faults.gyro_noise) * np.sqrt(rate_hz / 2.0)
        measured = measured + bias + noise * rng.standard_normal((n, 3))
        full = None if faults.gyro_range_dps is None else np.radians(faults.gyro_range_dps)
        return _counted(measured, full)

    def _measured_force(self, force: Array, rng: np.random.Generator) -> Array:
        noise = self.faults.accel_noise * np.sqrt(self.faults.rate_hz / 2.0)
        noisy = force + self.faults.accel_bias + noise * rng.standard_normal(force.shape)
        return _counted(noisy, self.faults.accel_range)

    def _kept(
        self,
        number: Counts,
        time_s: Array,
        rng: np.random.Generator,
    ) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which samples arrive: not those of lost batches and not those in gaps."""
        batch = number // self.faults.batch_samples
        kept = np.ones(len(number), dtype=np.bool_)
        if len(number) and self.faults.batch_loss > 0.0:
            lost = rng.random(int(batch[-1] - batch[0]) + 1) < self.faults.batch_loss
            kept &= ~lost[batch - batch[0]]
        for start_s, end_s in self.faults.gaps:
            kept &= (time_s < start_s) | (time_s >= end_s)
        return kept


def _counted(values: Array, full: float | None) -> Array:
    """Clipped to the range and rounded to 16-bit counts, in the same unit."""
    if full is None:
        return values
    unit = full / (_COUNTS + 1)
    return np.clip(np.rint(values / unit), -_COUNTS, _COUNTS) * unit


class _Ride:
    """Small turn of the sensor on its segment: f'' + 2 d w f' + w^2 f = -share * acceleration.

    Discretised with the acceleration taken as straight between samples (first-order hold).
    """

    def __init__(self, tissue: SoftTissue, rate_hz: float) -> None:
        natural = 2.0 * np.pi * tissue.frequency_hz
        spring = np.array([[0.0, 1.0], [-(natural**2), -2.0 * tissue.damping * natural]])
        drive = np.array([[0.0], [-tissue.share]])
        matrix, step, out, direct, _ = cont2discrete(
            (spring, drive, np.eye(2), np.zeros((2, 1))), 1.0 / rate_hz, method="foh"
        )
        # Transfer functions of angle and speed: C adj(z - A) B + D det(z - A) over det(z - A).
        trace = np.trace(matrix)
        self._below = np.array([1.0, -trace, np.linalg.det(matrix)])
        self._above = [
            direct[row, 0] * self._below
            + np.array(
                [0.0, (out @ step)[row, 0], (out @ (matrix - trace * np.eye(2)) @ step)[row, 0]]
            )
            for row in range(2)
        ]
        self._states = [np.zeros((2, 3)), np.zeros((2, 3))]

    def ride(self, acceleration: Array, rate: Array, force: Array) -> tuple[Array, Array]:
        """Rate and force (n, 3) as felt by the riding sensor, from those of the segment."""
        outputs = []
        for row, above in enumerate(self._above):
            output, self._states[row] = lfilter(
                above, self._below, acceleration, axis=0, zi=self._states[row]
            )
            outputs.append(output)
        angle, speed = outputs
        to_rider = Rotation.from_rotvec(angle).inv()
        # Angles stay below some degrees: the turning axes' own turning is taken to first order.
        own = speed - 0.5 * np.cross(angle, speed)
        return to_rider.apply(rate) + own, to_rider.apply(force)
