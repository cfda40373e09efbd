"""Integration and orientation side by side with general-purpose libraries: speed and accuracy.

    python -m tests.benchmarks.orientation

Speed: one long record, each method several times in turn, the least time of each. The libraries'
compiled filters do more than integrate; none offers the gyro alone for a whole record at once.
Accuracy: rotation over 3 s windows in motion against cameras (see tests.support.optical_rotation).
"""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

import numpy as np
import vqf

from analysis import rotation
from analysis.integration import integrate
from analysis.orientation import segment_motion
from analysis.results import Mounting
from analysis.samples import RateSample, SampleTable
from tests.support.optical_rotation import RECORD, OpticalRecord, load
from tests.support.orientation_libraries import (
    STANDARD_GRAVITY,
    filter_imufusion,
    filter_vqf,
    offline_vqf,
)

RATE_HZ = 200.0
SAMPLES = 1_440_000
"""One hour of two sensors at 200 Hz, as one record."""
WINDOW_S = 18.0
"""One swing's window."""
ROUNDS = 7
AS_WORN = Mounting(rotation.IDENTITY)


def main() -> None:
    """Print both tables."""
    print(_machine())
    print("\n".join(_speed()))
    if RECORD.exists():
        print("\n".join(_accuracy(load())))
    else:
        print(f"No optical record at {RECORD}: set TORSOLOG_SHARED_DATA.")


def _machine() -> str:
    model = platform.processor() or platform.machine()
    for line in Path("/proc/cpuinfo").read_text("utf-8").splitlines() if os.name == "posix" else ():
        if line.startswith("model name"):
            model = line.partition(":")[2].strip()
            break
    packages = ", ".join(
        f"{name} {version(name)}" for name in ("numpy", "scipy", "vqf", "imufusion")
    )
    return f"{model}, {os.cpu_count()} cores; Python {platform.python_version()}, {packages}"


def least_times(methods: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Least processor time of each method, s, run in turn so that all share the machine's mood."""
    least = dict.fromkeys(methods, np.inf)
    for _ in range(rounds):
        for name, method in methods.items():
            begin = time.process_time()
            method()
            least[name] = min(least[name], time.process_time() - begin)
    return least


def _speed() -> list[str]:
    rng = np.random.default_rng(0)
    time_s = np.arange(SAMPLES) / RATE_HZ
    rate = np.cumsum(rng.normal(0.0, 0.05, (SAMPLES, 3)), axis=0) % 4.0
    accel = np.tile([0.0, 0.0, STANDARD_GRAVITY], (SAMPLES, 1))
    window = SampleTable(*(a[: round(WINDOW_S * RATE_HZ)] for a in (time_s, rate, accel)))
    unaided = {"motionBiasEstEnabled": False, "restBiasEstEnabled": False}
    times = least_times(
        {
            "integrate": lambda: integrate(time_s, rate),
            "vqf, basic filter": lambda: vqf.BasicVQF(1.0 / RATE_HZ).updateBatch(rate, accel),
            "vqf, no bias": lambda: vqf.VQF(1.0 / RATE_HZ, **unaided).updateBatch(rate, accel),
            "vqf, as it comes": lambda: vqf.VQF(1.0 / RATE_HZ).updateBatch(rate, accel),
        },
        ROUNDS,
    )
    ours = times["integrate"]
    lines = [f"| {SAMPLES} samples | ms | ns a sample | ratio to ours |", "|---|---|---|---|"]
    lines += [
        f"| {name} | {1e3 * took:.0f} | {1e9 * took / SAMPLES:.0f} | {took / ours:.2f} |"
        for name, took in times.items()
    ]
    swing = least_times({"window": lambda: segment_motion(window, AS_WORN)}, 5 * ROUNDS)["window"]
    return [*lines, f"segment_motion of one {WINDOW_S:.0f} s window: {1e3 * swing:.1f} ms"]


def _accuracy(record: OpticalRecord) -> list[str]:
    samples, step_s = record.samples, 1.0 / record.rate_hz
    rested = samples.gyro - record.resting_bias
    instants = replace(samples, rate_sample=RateSample.INSTANT)
    found = {
        "gyro alone, bias of the first rest": integrate(
            samples.time_s, rested, kind=RateSample.MEAN
        ),
        "segment_motion": segment_motion(samples, AS_WORN).orientation,
        "segment_motion, samples as instants": segment_motion(instants, AS_WORN).orientation,
        "vqf": filter_vqf(samples, step_s),
        "vqf, forwards and backwards": offline_vqf(samples, step_s),
        "imufusion, bias of the first rest": filter_imufusion(samples, step_s, record.resting_bias),
    }
    lines = [f"| {len(record.windows)} windows | median deg | 95 % deg |", "|---|---|---|"]
    for name, orientation in found.items():
        errors = record.errors_deg(orientation)
        lines.append(f"| {name} | {np.median(errors):.2f} | {np.percentile(errors, 95):.2f} |")
    return lines


if __name__ == "__main__":
    main()
