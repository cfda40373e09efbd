"""Swings as a table for the terminal: as many columns as its width holds, the weightiest first."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from analysis.columns import COLUMNS, Column
from analysis.results import Flag, Swing

BY_WEIGHT = (
    "pelvis_turn_top_deg",
    "upper_back_turn_top_deg",
    "separation_top_deg",
    "separation_gain_deg",
    "transition_lead_ms",
    "pelvis_peak_dps",
    "upper_back_peak_dps",
    "peak_gap_ms",
    "tempo",
    "runway_deg",
    "mean_rate_dps2",
    "joint_separation_top_deg",
    "speed_gain",
    "backswing_s",
    "downswing_s",
)
"""Columns after the swing's number and time, in the order in which they win a place."""

HEADINGS = {
    "top_s": "top at",
    "pelvis_turn_top_deg": "pelvis turn",
    "upper_back_turn_top_deg": "upper back turn",
    "separation_top_deg": "separa- tion",
    "separation_gain_deg": "gain after top",
    "transition_lead_ms": "pelvis leads by",
    "pelvis_peak_dps": "pelvis peak",
    "upper_back_peak_dps": "upper back peak",
    "peak_gap_ms": "peak gap",
    "tempo": "tempo",
    "runway_deg": "runway",
    "mean_rate_dps2": "mean rate",
    "joint_separation_top_deg": "joint separation",
    "speed_gain": "speed gain",
    "backswing_s": "back- swing",
    "downswing_s": "down- swing",
}
NOT_KNOWN = "–"
LONGEST_LINE = 1000
"""Characters that the whole table would need at most."""


def print_swings(console: Console, swings: Sequence[Swing]) -> None:
    """Print one row a swing, then a line for everything a reader must know of a swing."""
    by_name = {column.name: column for column in COLUMNS}
    columns = [by_name[name] for name in ("top_s", *BY_WEIGHT)]
    wide = console.options.update(width=LONGEST_LINE)
    table = _table(columns, swings)
    while columns and console.measure(table, options=wide).maximum > console.width:
        columns.pop()
        table = _table(columns, swings)
    console.print(table)
    for flag, numbers in _flags(swings).items():
        which = "swing" if len(numbers) == 1 else "swings"
        listed = ", ".join(str(number) for number in numbers)
        console.print(f"{'!' if flag.spoils else '-'} {which} {listed}: {flag.text}", markup=False)


def _flags(swings: Sequence[Swing]) -> dict[Flag, list[int]]:
    """What to know, each once, with the swings that it is true of."""
    found: dict[Flag, list[int]] = {}
    for swing in swings:
        for flag in swing.flags:
            found.setdefault(flag, []).append(swing.number)
    return found


def _table(columns: Sequence[Column], swings: Sequence[Swing]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False)
    table.add_column("swing", justify="right", vertical="bottom", no_wrap=True)
    for column in columns:
        table.add_column(_heading(column), justify="right", vertical="bottom", no_wrap=True)
    table.add_column("", no_wrap=True)
    for swing in swings:
        cells = [_cell(column, swing) for column in columns]
        table.add_row(str(swing.number), *cells, "" if swing.usable else "!")
    return table


def _heading(column: Column) -> Text:
    unit = f"\n{column.unit}" if column.unit else "\n"
    return Text(HEADINGS[column.name].replace(" ", "\n") + unit)


def _cell(column: Column, swing: Swing) -> str:
    value = swing.metrics.get(column.name, swing.events.get(column.name))
    if value is None:
        return NOT_KNOWN
    return value if isinstance(value, str) else f"{value:.{column.decimals}f}"
