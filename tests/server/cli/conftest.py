"""The command line in this process, and recordings that are wrong in one way each."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from recordings import DEMO_RECORDING
from server.cli.app import run
from tests.support.motion_bids import MotionFolder


@dataclass(frozen=True)
class Answer:
    """What a command gave back."""

    code: int
    out: str
    err: str


@pytest.fixture
def torsolog(capsys, monkeypatch):
    """Run a command; the terminal is 100 characters wide."""
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("NO_COLOR", "1")

    def command(*arguments: object) -> Answer:
        code = run([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Answer(code, said.out, said.err)

    return command


@pytest.fixture
def demo_copy(tmp_path):
    """The demo recording, to be bent."""
    return Path(shutil.copytree(DEMO_RECORDING, tmp_path / "recording"))


def _row(folder: MotionFolder, number: int, change: Callable[[list[str]], list[str]]) -> None:
    path = folder.file("pelvis", "motion.tsv")
    lines = path.read_text().splitlines()
    lines[number - 1] = "\t".join(change(lines[number - 1].split("\t")))
    path.write_text("\n".join(lines) + "\n")


def empty_file(folder: MotionFolder) -> str:
    folder.file("pelvis", "motion.tsv").write_bytes(b"")
    return "empty"


def one_sensor_missing(folder: MotionFolder) -> str:
    for path in folder.folder.glob("*upperback*"):
        path.unlink()
    return "upper back"


def column_missing(folder: MotionFolder) -> str:
    folder.replace("pelvis", "channels.tsv", "gyro_z\tz\tGYRO\tback\tdeg/s\n", "")
    return "GYRO"


def value_missing_in_a_line(folder: MotionFolder) -> str:
    _row(folder, 5, lambda cells: cells[:-1])
    return "line 5"


def not_a_number(folder: MotionFolder) -> str:
    _row(folder, 7, lambda cells: [*cells[:2], "NaN", *cells[3:]])
    return "line 7"


def text_in_numbers(folder: MotionFolder) -> str:
    _row(folder, 9, lambda cells: [*cells[:3], "fast", *cells[4:]])
    return "fast"


def time_running_backwards(folder: MotionFolder) -> str:
    _row(folder, 11, lambda cells: ["0.0100", *cells[1:]])
    return "line 11"


def different_spans(folder: MotionFolder) -> str:
    path = folder.file("upperback", "motion.tsv")
    lines = [line.split("\t") for line in path.read_text().splitlines()]
    late = ["\t".join([f"{float(cells[0]) + 1e4:.4f}", *cells[1:]]) for cells in lines]
    path.write_text("\n".join(late) + "\n")
    return "share no time"


def ten_gigabytes(folder: MotionFolder) -> str:
    os.truncate(folder.file("pelvis", "motion.tsv"), 10 * 1024**3)
    return "10737 MB"


def not_text_at_all(folder: MotionFolder) -> str:
    folder.file("pelvis", "motion.tsv").write_bytes(bytes(range(256)) * 40)
    return "UTF-8"


BROKEN = (
    empty_file,
    one_sensor_missing,
    column_missing,
    value_missing_in_a_line,
    not_a_number,
    text_in_numbers,
    time_running_backwards,
    different_spans,
    ten_gigabytes,
    not_text_at_all,
)


@pytest.fixture(params=BROKEN, ids=lambda breaking: breaking.__name__)
def broken(request, tmp_path):
    """A recording that is wrong in one way, and what the complaint must name."""
    folder = MotionFolder(tmp_path / "broken").write()
    return folder.root, request.param(folder)
