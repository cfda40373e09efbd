"""The recording that ships: valid, small, made anew to the byte, and readable as its page says."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from recordings import DEMO_RECORDING
from sensors.demo_recording import main
from sensors.recording import read_recording

ROOT = DEMO_RECORDING.parents[1]


def files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_documented_command_makes_the_recording_that_ships(tmp_path):
    assert main([str(tmp_path / "again")]) == 0
    made, shipped = files(tmp_path / "again"), files(DEMO_RECORDING)
    tables = [name for name in shipped if name.endswith("_motion.tsv")]
    assert {n: t for n, t in made.items() if n not in tables} == {
        n: t for n, t in shipped.items() if n not in tables
    }
    for name in tables:
        assert close(made[name], shipped[name]), name


def close(left: bytes, right: bytes) -> bool:
    """Equal but for the last digit, which another processor's rounding may turn."""
    pairs = list(zip(left.split(), right.split(), strict=True))
    differing = [(a, b) for a, b in pairs if a != b]
    return len(differing) <= 1e-4 * len(pairs) and all(
        abs(float(a) - float(b)) <= 0.011 for a, b in differing
    )


def test_it_is_small_and_holds_a_calibration_and_both_sensors():
    recording = read_recording(DEMO_RECORDING)
    assert sum(map(len, files(DEMO_RECORDING).values())) < 3_000_000
    assert [mark.kind for mark in recording.marks] == ["stand", "bow"]
    assert recording.notes == ()
    assert recording.wearer.handedness == "right"
    assert 60.0 < recording.end_s - recording.start_s < 90.0
    assert recording.pelvis.rate_hz == recording.upper_back.rate_hz == 200.0


def test_the_official_validator_finds_no_error():
    found = shutil.which("bids-validator-deno", path=str(Path(sys.executable).parent))
    if found is None:
        pytest.skip("bids-validator-deno is not installed (pip install bids-validator-deno)")
    result = subprocess.run([found, str(DEMO_RECORDING)], capture_output=True, check=False)
    assert result.returncode == 0, result.stdout.decode()


@pytest.mark.parametrize("number", [0, 1])
def test_the_python_lines_of_the_page_run_as_they_stand(number):
    page = (DEMO_RECORDING.parent / "README.md").read_text("utf-8")
    lines = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    assert len(lines) == 2
    result = subprocess.run(
        [sys.executable, "-c", lines[number]], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr
    assert len(result.stdout.splitlines()) == 2 - number


@pytest.mark.parametrize("arguments", [[], ["a", "b"], ["--help"]])
def test_the_command_says_how_it_is_used(arguments, capsys):
    assert main(arguments) == 2
    assert "usage: python -m sensors.demo_recording FOLDER" in capsys.readouterr().err


def test_the_command_never_writes_over_what_is_there(tmp_path, capsys):
    (tmp_path / "note.txt").write_text("mine")
    assert main([str(tmp_path)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert files(tmp_path) == {"note.txt": b"mine"}
