"""`torsolog analyse`: a recording to swings, with no database and no service."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from analysis.results import ANALYSIS_VERSION, Fixing, Handedness, Swing
from sensors.recording import read_recording
from server.atomic_file import FileExistsAlreadyError, write_text
from server.cli.console import err, fail, progress, say
from server.cli.options import Force, Handed, Held, Name, Recording
from server.cli.swing_table import print_swings
from server.recording_analysis import RecordingAnalysis, analyse_recording, golfer_facts, held_by
from server.swing_csv import SwingRow, csv_lines

READING_SHARE = 0.6
"""Of the progress bar; the rest is the analysis."""


CsvFile = Annotated[
    Path | None, typer.Option("--csv", help="Also write every column to this CSV file.")
]
JsonFile = Annotated[
    Path | None,
    typer.Option("--json", help="Also write swings with events and flags to this JSON file."),
]


def analyse(
    recording: Recording,
    *,
    csv: CsvFile = None,
    json_file: JsonFile = None,
    name: Name = None,
    handedness: Handed = None,
    fixing: Held = None,
    force: Force = False,
) -> None:
    """Find the swings in a recording and show their numbers, one row a swing.

    Reads a Motion-BIDS folder with both sensors. A recording without a stand and a bow counts as
    worn in segment axes and is marked uncalibrated.
    """
    targets = [path for path in (csv, json_file) if path is not None]
    refuse_to_overwrite(targets, force=force)
    found = read_and_analyse(recording, name, handedness, fixing)
    for note in found.notes:
        say(f"note: {note}")
    if found.swings:
        print_swings(Console(highlight=False), found.swings)
    else:
        say("no swing was found in this recording")
    if csv is not None:
        rows = (SwingRow.of(swing) for swing in found.swings)
        write(csv, "".join(csv_lines(rows)), force=force)
    if json_file is not None:
        write(json_file, _as_json(found), force=force)


def read_and_analyse(
    path: Path, name: str | None, handedness: Handedness | None, fixing: Fixing | None
) -> RecordingAnalysis:
    """Read and analyse with a progress bar."""
    with progress("reading", total=1.0) as bar:
        task = bar.task_ids[0]

        def on_read(fraction: float) -> None:
            bar.update(task, completed=fraction * READING_SHARE)

        recording = held_by(read_recording(path, name=name, progress=on_read), fixing)
        bar.update(task, description="analysing", completed=READING_SHARE)
        facts = golfer_facts(recording.wearer)
        if handedness is None:
            return analyse_recording(recording)
        return analyse_recording(recording, replace(facts, handedness=handedness))


def refuse_to_overwrite(paths: list[Path], *, force: bool) -> None:
    """Say before any work that a file is in the way or its folder is missing."""
    for path in paths:
        if path.is_dir():
            fail(f"{path} is a folder; give the name of a file to write")
        if not path.absolute().parent.is_dir():
            fail(f"{path.absolute().parent} does not exist; make the folder first")
        if path.exists() and not force:
            fail(f"{path} is there already; give another name, or --force to replace it")


def write(path: Path, text: str, *, force: bool) -> None:
    """Write a file whole or not at all, and say so."""
    try:
        write_text(path, [text], overwrite=force)
    except FileExistsAlreadyError:
        fail(f"{path} is there already; give another name, or --force to replace it")
    err.print(f"written: {path}", markup=False)


def _as_json(found: RecordingAnalysis) -> str:
    document = {
        "recording": found.recording.name,
        "golfer": asdict(found.golfer),
        "calibrated": bool(found.calibrations),
        "notes": found.notes,
        "analysis_version": ANALYSIS_VERSION,
        "swings": [_swing(swing) for swing in found.swings],
    }
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _swing(swing: Swing) -> dict[str, Any]:
    whole = asdict(replace(swing, curves=None))
    del whole["curves"]
    return {**whole, "usable": swing.usable}
