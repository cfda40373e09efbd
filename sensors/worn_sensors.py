"""Two ordinary sensors as people wear them, drawn at random within stated limits.

Limits: mounting up to 30 degrees off, gyro bias to 3 deg/s, scale to 0.5 % (after a scale
calibration; uncalibrated consumer parts are six times worse), clocks to 50 ppm. The accelerometer's
offset is taken as what is left after its maker's calibration. Own choices where no source is named.
"""

from __future__ import annotations

import numpy as np

from sensors.body_motion import STANDARD_GRAVITY
from sensors.faults import SensorFaults, SoftTissue, Strike, Vector
from sensors.golfer_simulation import SimulatedGolfer
from sensors.practice_plan import CalibrationPosture
from sensors.wire import SEGMENTS, SegmentName

MOUNTING_DEG = 30.0
GYRO_BIAS_DPS = 3.0
GYRO_BIAS_WALK = 0.002
"""deg/s per sqrt(s): 0.02 deg/s in 100 s, of the order of published drift with temperature."""
SCALE = 0.005
CLOCK_PPM = 50.0
ACCEL_BIAS = 0.03
"""m/s^2, one standard deviation per axis."""
GYRO_NOISE = 0.007
"""deg/s/sqrt(Hz): document BST-BMI270-DS000, typical."""
ACCEL_NOISE = 0.0016
"""m/s^2/sqrt(Hz): 160 micro-g/sqrt(Hz); from memory of the same document."""
GYRO_RANGE_DPS = 2000.0
ACCEL_RANGE = 16.0 * STANDARD_GRAVITY
TISSUE_HZ = (8.0, 12.0)
TISSUE_DAMPING = (0.1, 0.25)
STAND_OFF_DEG = 3.0
BOW_OFF_DEG = 5.0
PLACE: dict[SegmentName, Vector] = {"pelvis": (-0.11, 0.03, 0.0), "upper_back": (-0.10, 0.14, 0.0)}
"""Sensor from the segment's turning point, m, at REFERENCE_HEIGHT_M: over the sacrum, between the
shoulder blades."""
REFERENCE_HEIGHT_M = 1.75


def worn_sensors(
    rng: np.random.Generator,
    golfer: SimulatedGolfer,
    *,
    rate_hz: float = 200.0,
    soft_tissue: bool = False,
    strike: bool = False,
) -> dict[SegmentName, SensorFaults]:
    """Faults of a golfer's two sensors; soft_tissue: riding on it instead of rigidly worn."""
    size = golfer.height_m / REFERENCE_HEIGHT_M
    return {
        segment: SensorFaults(
            rate_hz=rate_hz,
            mounting=_mounting(rng),
            place_m=_vector(size * np.asarray(PLACE[segment]) + rng.normal(0.0, 0.01, 3)),
            clock_offset_s=float(rng.uniform(0.0, 3600.0)),
            clock_drift_ppm=float(rng.uniform(-CLOCK_PPM, CLOCK_PPM)),
            gyro_bias_dps=_vector(rng.uniform(-GYRO_BIAS_DPS, GYRO_BIAS_DPS, 3)),
            gyro_bias_walk=GYRO_BIAS_WALK,
            gyro_noise=GYRO_NOISE,
            gyro_scale=_vector(rng.uniform(-SCALE, SCALE, 3)),
            gyro_range_dps=GYRO_RANGE_DPS,
            accel_bias=_vector(rng.normal(0.0, ACCEL_BIAS, 3)),
            accel_noise=ACCEL_NOISE,
            accel_range=ACCEL_RANGE,
            strike=Strike() if strike else None,
            soft_tissue=_tissue(rng) if soft_tissue else None,
        )
        for segment in SEGMENTS
    }


def imperfect_calibration(rng: np.random.Generator) -> CalibrationPosture:
    """A golfer who stands up to 3 degrees off upright and bows up to 5 degrees off straight."""
    off = STAND_OFF_DEG * np.sqrt(rng.uniform(size=2))
    towards = rng.uniform(0.0, 2.0 * np.pi, 2)
    tilt, bend = off * np.cos(towards), off * np.sin(towards)
    return CalibrationPosture(
        (float(tilt[0]), float(tilt[1])),
        (float(bend[0]), float(bend[1])),
        float(rng.uniform(-BOW_OFF_DEG, BOW_OFF_DEG)),
    )


def _mounting(rng: np.random.Generator) -> tuple[float, float, float, float]:
    """A turn about any axis by up to MOUNTING_DEG."""
    axis = rng.standard_normal(3)
    axis /= np.linalg.norm(axis)
    half = np.radians(rng.uniform(0.0, MOUNTING_DEG)) / 2.0
    x, y, z = (np.sin(half) * axis).tolist()
    return float(np.cos(half)), x, y, z


def _tissue(rng: np.random.Generator) -> SoftTissue:
    return SoftTissue(float(rng.uniform(*TISSUE_HZ)), float(rng.uniform(*TISSUE_DAMPING)))


def _vector(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Vector:
    x, y, z = values.tolist()
    return x, y, z
