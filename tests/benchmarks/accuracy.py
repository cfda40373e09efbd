"""How accurate the analysis is: simulated range sessions against their truth, level by level.

    python -m tests.benchmarks.accuracy [--swings 200] [--seed-set prove] [--write]

--write puts the tables into analysis/METHODS.md, between its marks.
"""

from __future__ import annotations

import argparse
import re
import sys
import time
from collections.abc import Iterator
from itertools import product
from pathlib import Path

from analysis.results import Fixing
from sensors.swing_shape import SwingShape
from tests.benchmarks.accuracy_levels import Counts, Row, counts, rows
from tests.benchmarks.accuracy_sessions import (
    DWELLING,
    LOST_S,
    SEED_SETS,
    TURNING,
    Wearing,
    measured_sessions,
)

METHODS = Path(__file__).parents[2] / "analysis" / "METHODS.md"
WEARINGS = (
    *(Wearing(riding, rate_hz) for riding in (False, True) for rate_hz in (200.0, 100.0)),
    *(
        Wearing(riding=True, rate_hz=rate_hz, fixing=Fixing.STRAPPED, repeats=repeats)
        for rate_hz in (200.0, 100.0)
        for repeats in (1, 3)
    ),
)
_HEAD = "| column | n | bias | mean size | 95 % within | level | met | in interval |"


def main() -> int:
    """Measure, print, and say by the exit code whether every level was met."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.accuracy")
    parser.add_argument("--swings", type=int, default=200, help="for each table")
    parser.add_argument("--each", type=int, default=2, help="swings of a short session")
    parser.add_argument("--seed-set", choices=sorted(SEED_SETS), default="prove")
    parser.add_argument("--write", action="store_true", help="into analysis/METHODS.md")
    given = parser.parse_args()
    begin, met, lines = time.perf_counter(), True, []
    for wearing, shapes in product(WEARINGS, (TURNING, DWELLING)):
        swings = given.swings if shapes is TURNING else max(given.each, given.swings // 4)
        table, reached = _measure(wearing, shapes, swings, given.seed_set, given.each)
        print("\n".join(table), flush=True)
        lines += table
        met &= reached
    print(f"{time.perf_counter() - begin:.0f} s; levels {'met' if met else 'NOT met'}")
    if given.write:
        write_between_marks(METHODS, "accuracy", [f"Seed set: {given.seed_set}.", "", *lines])
    return 0 if met else 1


def _measure(
    wearing: Wearing, shapes: tuple[SwingShape, ...], swings: int, seed_set: str, each: int
) -> tuple[list[str], bool]:
    """A table in lines, and whether its levels were met; dwelling reversals have none."""
    sessions = list(measured_sessions(wearing, shapes, swings, seed_set, each=each))
    dwells = shapes is DWELLING
    table, many = rows(sessions, wearing), counts(sessions)
    who = "golfers who dwell at the top" if dwells else "long and short turns"
    lines = [f"### {wearing.name}: {who}, right and left, {len(sessions)} sessions", ""]
    lines += [*_counts_text(many), "", _HEAD, f"|{' --- |' * 8}"]
    lines += [_line(row) for row in table]
    return [*lines, ""], many.met and (dwells or all(row.met is not False for row in table))


def _counts_text(many: Counts) -> Iterator[str]:
    yield (
        f"Found {many.found} of {many.true} swings ({100.0 * many.found_share:.1f} %), "
        f"false {many.false}: {'met' if many.met else 'NOT met'}."
    )
    left_out = ", ".join(f"{code} {n}" for code, n in sorted(many.unusable.items())) or "none"
    yield f"Found, marked and left out of the table: {left_out}."
    yield (
        f"With a hole of more than {1e3 * LOST_S:.0f} ms of a sensor, not counted: {many.holed}, "
        f"of which found {many.holed_found}."
    )


def _line(row: Row) -> str:
    level = "-"
    if row.level is not None:
        mean = "" if row.level.mean is None else f", mean {row.level.mean:g}"
        level = f"{row.level.within:g}{mean}"
    met = {None: "-", True: "yes", False: "**NO**"}[row.met]
    held = "-" if row.coverage is None else f"{100.0 * row.coverage:.0f} %"
    unit = row.measure.unit
    return (
        f"| {row.measure.column} | {row.n} | {row.bias:+.2f} {unit} | {row.mean:.2f} "
        f"| {row.p95:.2f} | {level} | {met} | {held} |"
    )


def write_between_marks(path: Path, name: str, lines: list[str]) -> None:
    """Replace what stands between two marks of a Markdown page. Raises ValueError without them."""
    text = path.read_text(encoding="utf-8")
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    if begin not in text or end not in text:
        raise ValueError(f"{path.name}: expected the marks {begin} and {end}")
    body = "\n".join((begin, "", *lines, end))
    pattern = f"{re.escape(begin)}.*?{re.escape(end)}"
    path.write_text(re.sub(pattern, lambda _: body, text, flags=re.DOTALL), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
