"""A real inertial sensor in fast rotation, with the cameras' truth.

Trial 08 of the BROAD benchmark (Laidig, Caruso, Cereatti, Seel 2021, Data 6(7):72,
doi 10.3390/data6070072; CC BY 4.0). Lies outside the project; see `load`.

What is at hand of its description does not say what a gyro sample is. It was decided on the first
half of the windows, where samples taken as means of the step before their stamp lie closer to the
cameras than instants (tests.outside.test_orientation_against_optical_truth). That is half a sample
of time; a whole one would lie closer still, so a delay of the sensor's filter or of the cameras'
clock is in it too, which nothing here corrects (`python -m tests.benchmarks.accuracy_real`).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from analysis import rotation
from analysis.samples import RateSample, SampleTable

FOLDER = Path(os.environ.get("TORSOLOG_SHARED_DATA", Path(__file__).parents[3] / "shared" / "data"))
RECORD = FOLDER / "imu-optical" / "fast-rotation-with-breaks.npz"
WINDOW_S = 3.0
EVERY_S = 0.5
FIRST_REST_S = 20.0


@dataclass(frozen=True)
class OpticalRecord:
    """samples at rate_hz; truth (n, 4) sensor-to-world, NaN where unseen; windows: first, last."""

    samples: SampleTable
    rate_hz: float
    truth: np.ndarray
    windows: np.ndarray

    @property
    def resting_bias(self):
        """Mean gyro of the first rest, (3,) rad/s."""
        return self.samples.gyro[: round(FIRST_REST_S * self.rate_hz)].mean(axis=0)

    def error_vectors(self, orientation, windows):
        """Rotation over each window against the optical one, rotation vectors (n, 3), rad."""
        first, last = windows.T
        optical = rotation.multiply(
            rotation.conjugate(rotation.normalise(self.truth[first])),
            rotation.normalise(self.truth[last]),
        )
        found = rotation.multiply(rotation.conjugate(orientation[first]), orientation[last])
        return rotation.to_rotation_vector(rotation.multiply(rotation.conjugate(optical), found))

    def errors_deg(self, orientation, windows=None):
        """The size of those vectors, degrees; over all windows where none are given."""
        windows = self.windows if windows is None else windows
        return np.degrees(np.linalg.norm(self.error_vectors(orientation, windows), axis=1))


def load():
    """The record; skips the test where it is not at hand."""
    if not RECORD.exists():
        pytest.skip("TORSOLOG_SHARED_DATA: the optical record is not here")
    with np.load(RECORD) as stored:
        rate_hz, moving = float(stored["fs"]), stored["moving"]
        gyro, accel, truth = (stored[k].astype(np.float64) for k in ("gyr", "acc", "quat"))
    time_s = np.arange(len(gyro)) / rate_hz
    samples = SampleTable(time_s, gyro, accel, 0.0, RateSample.MEAN)
    return OpticalRecord(samples, rate_hz, truth, _windows(rate_hz, moving, truth))


def _windows(rate_hz, moving, truth):
    """Windows that lie in motion, seen at both ends, as rows (first, last)."""
    length = round(WINDOW_S * rate_hz)
    starts = (round(k * EVERY_S * rate_hz) for k in range(int(len(moving) / rate_hz / EVERY_S)))
    return np.array(
        [
            (start, start + length)
            for start in starts
            if start + length < len(moving)
            and moving[start : start + length].all()
            and np.isfinite(truth[[start, start + length]]).all()
        ]
    )
