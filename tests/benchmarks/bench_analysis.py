"""How fast the analysis is: a one-hour session, one swing live, growth with length, integration.

    python -m tests.benchmarks.bench_analysis [--write] [--profile]

Runs on one core. Times are processor time of this process, which on an idle core is the clock's, so
that other work on the machine counts little; each is the best of several runs, and the two sides of
a ratio are measured in turn in the same process.
--write puts the table into analysis/METHODS.md; --profile says where the hour's time goes.
"""

from __future__ import annotations

import argparse
import cProfile
import os
import platform
import pstats
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import imufusion
import numpy as np
import vqf

from analysis.calibration import calibrate
from analysis.integration import integrate
from analysis.results import Calibration, GolferFacts, Handedness, Interval, Sex, Swing
from analysis.samples import SampleTable, Segment
from analysis.session import SessionAnalysis, analyse_session, analyse_window
from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.worn_sensors import worn_sensors
from tests.benchmarks.accuracy import METHODS, write_between_marks
from tests.benchmarks.accuracy_sessions import sample_table

HOUR_S = 3600.0
SWINGS = 172
"""So many fill more than an hour; what is cut off at the hour leaves some 150 or more."""
SEED = 9
RUNS = 5
BATCH_S = 0.25
"""A batch on the wire."""
HOUR_LEVEL_S, SWING_LEVEL_S = 2.0, 0.02
LARGEST_GROWTH = 1.25
"""Cost a minute of an hour over that of a quarter of an hour; above, the cost is not linear."""
GOLFER = GolferFacts(Handedness.RIGHT, 1.78, 78.0, Sex.MALE)


@dataclass(frozen=True)
class Hour:
    """An hour of two sensors at 200 Hz."""

    pelvis: SampleTable
    upper_back: SampleTable
    calibration: Calibration

    def first(self, length_s: float) -> tuple[SampleTable, SampleTable]:
        """Its first part."""
        return self.pelvis.between(0.0, length_s), self.upper_back.between(0.0, length_s)

    def swings(self, length_s: float = HOUR_S) -> list[Swing]:
        """Its swings, as arrays go to all metrics."""
        return analyse_session(*self.first(length_s), [self.calibration], GOLFER)


@dataclass(frozen=True)
class Figure:
    """One line of the table; met None: no level is set."""

    what: str
    figure: str
    level: str = "-"
    met: bool | None = None

    def line(self) -> str:
        """As a row of a Markdown table."""
        met = {None: "-", True: "yes", False: "**NO**"}[self.met]
        return f"| {self.what} | {self.figure} | {self.level} | {met} |"


def hour() -> Hour:
    """Simulated with all faults of ordinary sensors, everything that goes on on a range."""
    golfer = LONG_TURN_GOLFER
    faults = worn_sensors(np.random.default_rng(SEED), golfer, strike=True)
    simulated = SimulatedRangeSession(PracticePlan(swings=SWINGS), faults, SEED, golfer)
    marks = {mark.kind: Interval(mark.start_s, mark.end_s) for mark in simulated.marks}
    tables = [sample_table(simulated, s).between(0.0, HOUR_S) for s in ("pelvis", "upper_back")]
    calibration = calibrate(*tables, marks["stand"], marks["bow"], from_s=marks["bow"].end_s)
    return Hour(tables[0], tables[1], calibration)


def best_s(work: Callable[[], object], runs: int = RUNS) -> float:
    """The shortest of several runs, s."""
    times = []
    for _ in range(runs):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def session_figures(session: Hour) -> list[Figure]:
    """The whole hour, and how its cost grows."""
    count = len(session.swings())
    samples = len(session.pelvis) + len(session.upper_back)
    took = {
        part: best_s(lambda part=part: session.swings(part)) for part in (900.0, 1800.0, 3600.0)
    }
    growth = 0.25 * took[3600.0] / took[900.0]
    return [
        Figure(
            f"one hour, {samples / 1e6:.2f} million samples, {count} swings, arrays to all metrics",
            f"{took[3600.0]:.2f} s",
            f"< {HOUR_LEVEL_S:g} s",
            took[3600.0] < HOUR_LEVEL_S,
        ),
        Figure(
            "the first 15, 30 and 60 minutes of it",
            ", ".join(f"{t:.2f} s" for t in took.values()),
        ),
        Figure(
            "cost a minute, of 60 minutes over 15",
            f"{growth:.2f}",
            f"< {LARGEST_GROWTH:g}",
            growth < LARGEST_GROWTH,
        ),
    ]


def live_figures(session: Hour) -> list[Figure]:
    """One swing from its window, and the pushes of a live session."""
    one = [
        best_s(lambda swing=swing: _again(session, swing), runs=3)
        for swing in session.swings(1200.0)
    ]
    quiet, ending = _push_times(session, 1200.0)
    return [
        Figure(
            f"one swing from its window: median and largest of {len(one)}",
            f"{1e3 * np.median(one):.1f} ms, {1e3 * max(one):.1f} ms",
            f"< {1e3 * SWING_LEVEL_S:.0f} ms",
            bool(np.median(one) < SWING_LEVEL_S),
        ),
        Figure(
            f"live, the push that ends a swing: median and largest of {len(ending)}",
            f"{1e3 * np.median(ending):.1f} ms, {1e3 * max(ending):.1f} ms",
            f"< {1e3 * SWING_LEVEL_S:.0f} ms",
            bool(np.median(ending) < SWING_LEVEL_S),
        ),
        Figure(
            f"live, any other push of {1e3 * BATCH_S:.0f} ms of samples: median",
            f"{1e3 * np.median(quiet):.2f} ms",
        ),
    ]


def _again(session: Hour, swing: Swing) -> Swing:
    return analyse_window(
        session.pelvis,
        session.upper_back,
        swing.window,
        swing.number,
        [session.calibration],
        GOLFER,
    )


def _push_times(session: Hour, length_s: float) -> tuple[list[float], list[float]]:
    """Seconds a push of a batch takes: those that give no swing, and those that give one."""
    live = SessionAnalysis([session.calibration], GOLFER)
    quiet, ending = [], []
    for start_s in np.arange(0.0, length_s, BATCH_S):
        for segment, table in (
            (Segment.PELVIS, session.pelvis),
            (Segment.UPPER_BACK, session.upper_back),
        ):
            batch = table.between(start_s, start_s + BATCH_S)
            begin = time.process_time()
            swings = live.push(segment, batch)
            (ending if swings else quiet).append(time.process_time() - begin)
    return quiet, ending


def integration_figures(session: Hour) -> list[Figure]:
    """One long record, ours and the compiled libraries, in turn."""
    table = session.pelvis
    n, step_s = len(table), 1.0 / 200.0
    gyro, accel = np.ascontiguousarray(table.gyro), np.ascontiguousarray(table.accel)
    plain = {"restBiasEstEnabled": False, "motionBiasEstEnabled": False}
    ours, theirs = [], []
    for _ in range(RUNS):
        ours.append(best_s(lambda: integrate(table.time_s, gyro), runs=1))
        theirs.append(best_s(lambda: vqf.VQF(step_s, **plain).updateBatch(gyro, accel), runs=1))
    part = 50_000
    looped_s = best_s(lambda: _imufusion(gyro[:part], accel[:part], step_s), 1) * n / part
    ratio = min(ours) / min(theirs)
    return [
        Figure(f"integrate, {n} samples", f"{1e9 * min(ours) / n:.0f} ns a sample"),
        Figure("vqf, compiled batch, bias estimation off", f"{1e9 * min(theirs) / n:.0f} ns"),
        Figure(
            "imufusion, compiled, sample by sample from Python (no batch call)",
            f"{1e9 * looped_s / n:.0f} ns",
        ),
        Figure("ours over the fastest", f"{ratio:.2f}", "<= 1", ratio <= 1.0),
    ]


def _imufusion(gyro: np.ndarray, accel: np.ndarray, step_s: float) -> None:
    ahrs, settings = imufusion.Ahrs(), imufusion.AhrsSettings()
    settings.sample_rate = 1.0 / step_s
    ahrs.set_settings(settings)
    for turn, force in zip(np.degrees(gyro), accel / 9.80665, strict=True):
        ahrs.update_no_magnetometer(turn, force)


def machine() -> str:
    """What it ran on."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text("utf-8").splitlines() if info.exists() else []
    models = [line.split(":")[1].strip() for line in lines if line.startswith("model name")]
    versions = ", ".join(
        f"{name} {version(name)}" for name in ("numpy", "scipy", "vqf", "imufusion")
    )
    return (
        f"{models[0] if models else platform.machine()}, one core; "
        f"Python {platform.python_version()}, {versions}"
    )


def main() -> int:
    """Measure, print, and say by the exit code whether every level was met."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.bench_analysis")
    parser.add_argument("--write", action="store_true", help="into analysis/METHODS.md")
    parser.add_argument("--profile", action="store_true")
    given = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    session = hour()
    if given.profile:
        with cProfile.Profile() as profile:
            session.swings()
        pstats.Stats(profile).sort_stats("tottime").print_stats(25)
        return 0
    figures = session_figures(session) + live_figures(session) + integration_figures(session)
    lines = [f"{machine()}.", "", "| what | figure | level | met |", "| --- | --- | --- | --- |"]
    lines += [figure.line() for figure in figures]
    print("\n".join(lines))
    if given.write:
        write_between_marks(METHODS, "speed", lines)
    return 0 if all(figure.met is not False for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
