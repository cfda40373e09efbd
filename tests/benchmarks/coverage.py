"""How often the stated 95 % intervals hold the truth, column by column, over simulated sessions.

    python -m tests.benchmarks.coverage [--sessions 1500] [--seed-set prove] [--write]

One swing a session, so that errors are independent. The population is that of
`tests.support.drawn_sessions`, the same that `analysis.error_causes` states. The constants of the
analysis were chosen on 'tune'. --write puts the table into analysis/METHODS.md.
"""

from __future__ import annotations

import argparse
import sys
import time

from analysis.columns import BY_NAME
from tests.benchmarks.accuracy import METHODS, write_between_marks
from tests.support.held_intervals import HeldIntervals, held_intervals

SEED_SETS = {"tune": 30_000, "prove": 80_000}
"""First seed of each set; a set has 10 000 seeds."""
LEVEL = (0.92, 0.98)


def main() -> int:
    """Measure, print, and say by the exit code whether every column is within the level."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.coverage")
    parser.add_argument("--sessions", type=int, default=1500)
    parser.add_argument("--seed-set", choices=sorted(SEED_SETS), default="prove")
    parser.add_argument("--write", action="store_true", help="into analysis/METHODS.md")
    given = parser.parse_args()
    begin, first = time.perf_counter(), SEED_SETS[given.seed_set]
    held = held_intervals(range(first, first + given.sessions))
    lines = [
        f"Seed set: {given.seed_set}; {given.sessions} sessions, one swing each.",
        "",
        "| column | n | held | size of error over u | error, rms | u, median | 92-98 % |",
        f"|{' --- |' * 7}",
        *(_line(of_column) for of_column in held),
    ]
    print("\n".join(lines))
    missed = [of_column.column for of_column in held if not _met(of_column)]
    print(f"{time.perf_counter() - begin:.0f} s; not within the level: {', '.join(missed) or '-'}")
    if given.write:
        write_between_marks(METHODS, "coverage", lines)
    return 1 if missed else 0


def _met(held: HeldIntervals) -> bool:
    return LEVEL[0] <= held.share <= LEVEL[1]


def _line(held: HeldIntervals) -> str:
    unit = BY_NAME[held.column].unit
    return (
        f"| {held.column} | {held.n} | {100.0 * held.share:.1f} ± {100.0 * held.half_width:.1f} % "
        f"| {held.size:.2f} | {held.error:.3g} {unit} | {held.u:.3g} {unit} "
        f"| {'yes' if _met(held) else '**NO**'} |"
    )


if __name__ == "__main__":
    sys.exit(main())
