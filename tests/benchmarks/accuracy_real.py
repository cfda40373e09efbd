"""Real motion with truth: one swing seen by cameras, and a sensor in fast rotation seen by cameras.

    python -m tests.benchmarks.accuracy_real [--write]

Sources: see tests.outside.test_levels_real_data. --write puts the tables into analysis/METHODS.md.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.optimize import least_squares

from analysis import rotation
from analysis.integration import integrate
from analysis.orientation import segment_motion
from analysis.results import GolferFacts, Mounting, Swing
from analysis.samples import RateSample, SampleTable
from analysis.session import analyse_session
from sensors.recording import Recording, SensorRecording, read_recording
from sensors.recording_writer import DatasetFacts, write_recording
from server.recording_analysis import sample_table
from tests.benchmarks.accuracy import METHODS, write_between_marks
from tests.support.optical_rotation import OpticalRecord, load
from tests.support.orientation_libraries import filter_imufusion, filter_vqf, offline_vqf

SHARED = Path(os.environ.get("TORSOLOG_SHARED_DATA", Path(__file__).parents[3] / "shared" / "data"))
SWING = SHARED / "mocap-swing"
AS_WORN = Mounting(rotation.IDENTITY)
ANGLE_LEVEL_DEG, PEAK_LEVEL = 1.5, 0.02
FITTED_LEVEL_DEG = 1.4
COVERED = 1.96
STATED = "ours, as the recording states"
LAGS = (0.0, 0.5, 1.0, 1.5)
AS_INSTANTS = "ours, taking means for instants"


@dataclass(frozen=True)
class RealSwing:
    """The one swing found, and what the cameras say of it."""

    swings: list[Swing]
    truth: dict[str, float]

    @property
    def swing(self) -> Swing:
        """The swing; there is just one."""
        (swing,) = self.swings
        return swing

    def error(self, column: str) -> float:
        """Computed minus true, in the column's unit."""
        got = self.swing.metrics[column]
        assert isinstance(got, float), column
        return got - self.truth[column]


def real_swing() -> RealSwing:
    """The recording, analysed as any recording is. Raises OSError where it is not at hand."""
    truth = json.loads((SWING / "truth.json").read_text("utf-8"))[0]
    recording = read_recording(SWING)
    tables = [sample_table(sensor) for sensor in (recording.pelvis, recording.upper_back)]
    return RealSwing(analyse_session(*tables, [], GolferFacts()), truth)


def as_recorded(record: OpticalRecord) -> SampleTable:
    """The record's samples after the way that every recording takes: written, read, made a table.

    Both places hold the one sensor that there is.
    """
    samples, stated = record.samples, record.samples.rate_sample.value
    pelvis, upper_back = (
        SensorRecording(
            segment,
            samples.time_s,
            samples.gyro,
            samples.accel,
            record.rate_hz,
            rate_sample="mean" if stated == "mean" else "instant",
        )
        for segment in ("pelvis", "upper_back")
    )
    facts = DatasetFacts("Fast rotation", ("torsolog",), "One sensor, turned by hand.")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "rotation"
        write_recording(path, Recording("sub-01_task-rotation", pelvis, upper_back), facts)
        return sample_table(read_recording(path).upper_back)


def orientation_errors(record: OpticalRecord) -> dict[str, np.ndarray]:
    """Errors over the 3 s windows in motion, degrees, of ours and of others, by what made them.

    The recording states that a gyro sample is a mean (why: tests.support.optical_rotation); ours
    is also shown taking them for instants.
    """
    samples, step_s, bias = as_recorded(record), 1.0 / record.rate_hz, record.resting_bias
    plain = integrate(samples.time_s, samples.gyro - bias, kind=RateSample.MEAN)
    made = {
        "plain exact steps, bias of the first rest": plain,
        STATED: segment_motion(samples, AS_WORN).orientation,
        AS_INSTANTS: segment_motion(_instants(samples), AS_WORN).orientation,
        "vqf": filter_vqf(samples, step_s),
        "vqf, forwards and backwards": offline_vqf(samples, step_s),
        "imufusion": filter_imufusion(samples, step_s, bias),
    }
    return {name: record.errors_deg(turned) for name, turned in made.items()}


def fitted_errors(record: OpticalRecord) -> dict[str, np.ndarray]:
    """The same on the second half of the windows, scale and axes (3 x 3) fitted on the first.

    One matrix, fitted to plain integration against the cameras, corrects the gyro for all.
    """
    half = len(record.windows) // 2
    second = record.windows[half:]
    matrix = _fitted_matrix(record, record.windows[:half])
    samples, step_s, bias = record.samples, 1.0 / record.rate_hz, record.resting_bias
    better = replace(samples, gyro=(samples.gyro - bias) @ matrix.T)
    made = {
        "plain exact steps": integrate(better.time_s, better.gyro, kind=RateSample.MEAN),
        STATED: segment_motion(better, AS_WORN).orientation,
        AS_INSTANTS: segment_motion(_instants(better), AS_WORN).orientation,
        "vqf": filter_vqf(better, step_s),
        "vqf, forwards and backwards": offline_vqf(better, step_s),
        "imufusion": filter_imufusion(better, step_s, np.zeros(3)),
    }
    return {name: record.errors_deg(turned, second) for name, turned in made.items()}


def lag_errors(record: OpticalRecord) -> dict[float, np.ndarray]:
    """Errors of ours over all windows, by how many samples the gyro is taken to lag its stamps."""
    samples, step_s = _instants(record.samples), 1.0 / record.rate_hz
    errors = {}
    for lag in LAGS:
        told_of = samples.time_s - lag * step_s
        rate = np.stack([np.interp(samples.time_s, told_of, axis) for axis in samples.gyro.T], 1)
        turned = segment_motion(replace(samples, gyro=rate), AS_WORN).orientation
        errors[lag] = record.errors_deg(turned)
    return errors


def _instants(samples: SampleTable) -> SampleTable:
    return replace(samples, rate_sample=RateSample.INSTANT)


def _fitted_matrix(record: OpticalRecord, windows: np.ndarray) -> np.ndarray:
    rows = slice(0, int(windows.max()) + 1)
    time_s, gyro = record.samples.time_s[rows], record.samples.gyro[rows] - record.resting_bias

    def residuals(parameters: np.ndarray) -> np.ndarray:
        matrix = np.eye(3) + parameters.reshape(3, 3)
        turned = integrate(time_s, gyro @ matrix.T, kind=RateSample.MEAN)
        return record.error_vectors(turned, windows).ravel()

    found = least_squares(residuals, np.zeros(9), diff_step=1e-4, x_scale=0.01, max_nfev=6)
    matrix: np.ndarray = np.eye(3) + found.x.reshape(3, 3)
    return matrix


def swing_lines(real: RealSwing) -> list[str]:
    """The real swing as a Markdown table."""
    lines = [
        "| column | cameras | ours | error | 95 % interval | level | met |",
        f"|{' --- |' * 7}",
    ]
    for column, true in real.truth.items():
        error, u = real.error(column), real.swing.uncertainty.get(column)
        level, met = swing_level(real, column)
        shown = {None: "-", True: "yes", False: "**NO**"}[met]
        interval = "-" if u is None else f"± {COVERED * u:.3g}"
        lines.append(
            f"| {column} | {true:.3f} | {true + error:.3f} | {error:+.3f} | {interval} "
            f"| {level} | {shown} |"
        )
    flags = ", ".join(flag.code for flag in real.swing.flags) or "none"
    return [*lines, "", f"Flags of this swing: {flags}."]


def swing_level(real: RealSwing, column: str) -> tuple[str, bool | None]:
    """A column's level in words, and whether it is met; None where there is none to judge."""
    error = real.error(column)
    if column.endswith("_deg"):
        return f"{ANGLE_LEVEL_DEG:g}", abs(error) <= ANGLE_LEVEL_DEG
    if column.endswith("_dps"):
        return f"{100.0 * PEAK_LEVEL:g} %", abs(error) <= PEAK_LEVEL * real.truth[column]
    if column == "transition_lead_ms":
        u = real.swing.uncertainty.get(column)
        return "its interval", None if u is None else abs(error) <= COVERED * u
    return "-", None


def error_lines(errors: dict[str, np.ndarray]) -> list[str]:
    """Errors of orientation as a Markdown table."""
    lines = ["| made by | windows | median deg | 95th percentile deg |", f"|{' --- |' * 4}"]
    for name, values in errors.items():
        median, most = np.median(values), np.quantile(values, 0.95)
        lines.append(f"| {name} | {len(values)} | {median:.2f} | {most:.2f} |")
    return lines


def halves(values: np.ndarray) -> tuple[float, float]:
    """Medians of the first and of the second half."""
    half = len(values) // 2
    return float(np.median(values[:half])), float(np.median(values[half:]))


def halves_lines(errors: dict[str, np.ndarray]) -> list[str]:
    """Errors of orientation over all windows and over each half as a Markdown table."""
    lines = error_lines(errors)
    heads = (" first half, median | second half, median |", " --- | --- |")
    tails = [*heads, *(f" {a:.2f} | {b:.2f} |" for a, b in map(halves, errors.values()))]
    return [line + tail for line, tail in zip(lines, tails, strict=True)]


def lag_lines(errors: dict[float, np.ndarray]) -> list[str]:
    """Medians by lag as a Markdown table."""
    lines = [
        "| lag, samples | first half, median deg | second half, median deg |",
        "| --- " * 3 + "|",
    ]
    for lag, values in errors.items():
        first, second = halves(values)
        lines.append(f"| {lag:g} | {first:.2f} | {second:.2f} |")
    return lines


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.accuracy_real")
    parser.add_argument("--write", action="store_true", help="into analysis/METHODS.md")
    given = parser.parse_args()
    record = load()
    tables = {
        "real swing": swing_lines(real_swing()),
        "optical rotation": halves_lines(orientation_errors(record)),
        "optical rotation, lag": lag_lines(lag_errors(record)),
        "optical rotation, fitted": error_lines(fitted_errors(record)),
    }
    for name, lines in tables.items():
        print(f"{name}\n" + "\n".join(lines) + "\n")
        if given.write:
            write_between_marks(METHODS, name, lines)
    return 0


if __name__ == "__main__":
    sys.exit(main())
