"""Writing recordings: back to the bit, valid by the official validator, whole or not at all."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sensors.recording_writer as writer
from sensors.bids_participants import Wearer
from sensors.errors import RecordingError
from sensors.recording import Recording, SensorRecording, read_recording
from sensors.recording_writer import SHORT, DatasetFacts, write_recording
from sensors.wire import Mark

FACTS = DatasetFacts("Range", ("A. Coach", "B. Coach"), "Invented swings.\n" * 20, license="CC0")


def sensor(segment, *, seed: int, count: int = 900, start_s: float = 0.0) -> SensorRecording:
    rng = np.random.default_rng(seed)
    time_s = start_s + np.cumsum(rng.uniform(0.004, 0.006, count))
    gyro, accel = rng.normal(0.0, 5.0, (2, count, 3)).astype(np.float32).astype(np.float64)
    return SensorRecording(segment, time_s, gyro, accel, 200.0, "sensor A", 2000.0, 16.0)


def recording(name: str = "sub-01_ses-02_task-swing") -> Recording:
    return Recording(
        name=name,
        pelvis=sensor("pelvis", seed=1),
        upper_back=replace(
            sensor("upper_back", seed=2, count=870, start_s=0.1),
            rate_sample="mean",
            fixing="strapped",
        ),
        marks=(
            Mark(kind="stand", start_s=0.25, end_s=1.5),
            Mark(kind="bow", start_s=1.75, end_s=2.5),
        ),
        wearer=Wearer("01", "left", 1.8, 75.5, "male"),
        task="half swings",
    )


def validator() -> str:
    found = shutil.which("bids-validator-deno", path=str(Path(sys.executable).parent))
    if found is None:
        pytest.skip("bids-validator-deno is not installed (pip install bids-validator-deno)")
    return found


def equal(left: Recording, right: Recording) -> bool:
    """Same in everything, arrays to the bit."""
    pairs = [(left.pelvis, right.pelvis), (left.upper_back, right.upper_back)]
    arrays = ("time_s", "gyro", "accel")
    same = all(
        getattr(a, name).tobytes() == getattr(b, name).tobytes()
        for a, b in pairs
        for name in arrays
    )
    empty = dict.fromkeys(arrays, np.empty(0))
    facts = [
        replace(r, pelvis=replace(r.pelvis, **empty), upper_back=replace(r.upper_back, **empty))
        for r in (left, right)
    ]
    return same and str(facts[0]) == str(facts[1])


def test_what_is_written_comes_back_to_the_bit(tmp_path):
    written = recording()
    write_recording(tmp_path / "set", written, FACTS)
    read = read_recording(tmp_path / "set")
    rates = [(s.time_s.size - 1) / np.ptp(s.time_s) for s in (written.pelvis, written.upper_back)]
    expected = replace(
        written,
        pelvis=replace(written.pelvis, rate_hz=float(rates[0])),
        upper_back=replace(written.upper_back, rate_hz=float(rates[1])),
    )
    assert equal(read, expected)


def test_short_values_stay_within_their_last_digit(tmp_path):
    write_recording(tmp_path / "set", recording(), FACTS, values=SHORT)
    read, written = read_recording(tmp_path / "set"), recording()
    assert np.abs(np.degrees(read.pelvis.gyro - written.pelvis.gyro)).max() < 0.0051
    assert np.abs(read.pelvis.accel - written.pelvis.accel).max() < 0.000051 * 9.81
    assert np.abs(read.pelvis.time_s - written.pelvis.time_s).max() < 0.000051


@pytest.mark.parametrize("values", [writer.EXACT, SHORT], ids=["exact", "short"])
def test_the_official_validator_finds_no_error(tmp_path, values):
    """bids-validator-deno, the validator of the BIDS maintainers (schema in its own release)."""
    several = [recording(), recording("sub-01_ses-03_task-swing"), recording("sub-02_task-swing")]
    write_recording(tmp_path / "set", several, FACTS, values=values)
    result = subprocess.run(
        [validator(), "--json", str(tmp_path / "set")], capture_output=True, text=True, check=False
    )
    issues = json.loads(result.stdout)["issues"]["issues"]
    assert [issue for issue in issues if issue["severity"] == "error"] == []
    assert {i["code"] for i in issues} <= {"JSON_KEY_RECOMMENDED", "SIDECAR_KEY_RECOMMENDED"}


def test_the_validator_would_find_an_error(tmp_path):
    """The check above can fail."""
    write_recording(tmp_path / "set", recording(), FACTS)
    next((tmp_path / "set").rglob("*pelvis_channels.tsv")).unlink()
    (tmp_path / "set/dataset_description.json").write_text("{}")
    result = subprocess.run(
        [validator(), "--json", str(tmp_path / "set")], capture_output=True, text=True, check=False
    )
    issues = json.loads(result.stdout)["issues"]["issues"]
    assert [issue for issue in issues if issue["severity"] == "error"]


def test_several_recordings_share_one_data_set(tmp_path):
    write_recording(tmp_path / "set", [recording(), recording("sub-02_ses-01_task-swing")], FACTS)
    read = read_recording(tmp_path / "set", name="sub-02_ses-01_task-swing")
    assert read.wearer.label == "02"
    assert (tmp_path / "set/participants.tsv").read_text().count("\n") == 3


def test_a_recording_that_is_there_is_never_written_over(tmp_path):
    write_recording(tmp_path / "set", recording(), FACTS)
    with pytest.raises(RecordingError, match="is there already"):
        write_recording(tmp_path / "set", recording("sub-09_task-swing"), FACTS)
    assert read_recording(tmp_path / "set").name == "sub-01_ses-02_task-swing"


@pytest.mark.parametrize("name", ["swing", "sub-01", "sub-a b_task-swing", "sub-../_task-x", ""])
def test_a_name_that_bids_does_not_allow(tmp_path, name):
    with pytest.raises(RecordingError, match="is no name for a recording"):
        write_recording(tmp_path / "set", recording(name), FACTS)
    assert list(tmp_path.iterdir()) == []


def test_two_recordings_of_one_name(tmp_path):
    with pytest.raises(RecordingError, match="two recordings of one name"):
        write_recording(tmp_path / "set", [recording(), recording()], FACTS)


@pytest.mark.parametrize("stop_after", [0.2, 0.9])
def test_a_stop_half_way_leaves_nothing(tmp_path, stop_after):
    def stop(done: float) -> None:
        if done > stop_after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_recording(tmp_path / "set", recording(), FACTS, progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_is_full_leaves_nothing_and_says_so(tmp_path, monkeypatch):
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sensors.recording_writer.os.fsync", full)
    with pytest.raises(RecordingError, match="cannot be written: No space left on device"):
        write_recording(tmp_path / "set", recording(), FACTS)
    assert list(tmp_path.iterdir()) == []
