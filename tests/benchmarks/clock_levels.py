"""How well two sensors' clocks agree over a simulated radio; prints a table.

    python -m tests.benchmarks.clock_levels [--runs 12] [--hours 0]

Each row: error between two sensors from 30 s on (20 s after the sync check where one is made).
--hours: adds a run of that length at +50 and -50 ppm; two hours take some minutes.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from dataclasses import replace

import numpy as np
import scipy

from tests.support.radio_pair import Scene, StampedStream, deliveries, level

INTERVALS_S = (0.0075, 0.015, 0.030, 0.050)
LEVEL_S = {"ticks": 0.002, "count": 0.005, "sync": 0.001}
FIRST_SEED = 4000
"""Seeds below 100 and these were looked at while the fit was changed: no independent proof."""


def scenes(hours: float) -> list[tuple[str, str, Scene]]:
    """What is measured: name, level that applies, scene."""
    found = []
    for interval_s in INTERVALS_S:
        at = f"{1e3 * interval_s:g} ms"
        free = Scene(interval_s=interval_s, duration_s=60.0)
        found += [
            (f"ticks, {at}", "ticks", free),
            (f"sample count, {at}", "count", replace(free, ticks=False)),
            (f"ticks, {at}, sampling in step", "ticks", replace(free, locked=True)),
            (f"ticks, {at}, sync check at 30 s", "sync", replace(free, sync_at_s=30.0)),
        ]
    found.append(("ticks, 30 ms, restart", "ticks", Scene(duration_s=90.0, restart_s=45.0)))
    if hours:
        long = Scene(duration_s=3600.0 * hours, ppm=50.0, sync_at_s=120.0)
        found.append((f"ticks, 30 ms, {hours:g} h at 50 ppm, sync check", "sync", long))
    return found


def cost_us() -> float:
    """Processor time per packet, us."""
    scene = Scene(duration_s=60.0)
    stream = StampedStream(deliveries(scene, np.random.default_rng(1), 1)[0], ticks=True)
    begin = time.process_time()
    stream.run()
    return 1e6 * (time.process_time() - begin) / len(stream.rows)


def main() -> int:
    """Measure and print; the exit code says whether every row is within its level."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.clock_levels")
    parser.add_argument("--runs", type=int, default=12)
    parser.add_argument("--hours", type=float, default=0.0)
    given = parser.parse_args()
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
        f"numpy {np.__version__}, scipy {scipy.__version__}"
    )
    print("| scene | 95 %, ms | largest, ms | u, ms | within 1.96 u | runs | level, ms | met |")
    print(f"|{' --- |' * 8}")
    all_met = True
    for name, kind, scene in scenes(given.hours):
        runs = 1 if scene.duration_s > 1000.0 else given.runs
        got = level(scene, range(FIRST_SEED, FIRST_SEED + runs))
        met = got.p95_s <= LEVEL_S[kind] and got.within >= 0.9
        all_met &= met
        print(
            f"| {name} | {1e3 * got.p95_s:.2f} | {1e3 * got.largest_s:.2f} "
            f"| {1e3 * got.median_u_s:.2f} | {100 * got.within:.0f} % | {runs} "
            f"| {1e3 * LEVEL_S[kind]:g} | {'yes' if met else 'no'} |",
            flush=True,
        )
    print(f"\nOne packet costs {cost_us():.0f} us of processor time.")
    return 0 if all_met else 1


if __name__ == "__main__":
    sys.exit(main())
