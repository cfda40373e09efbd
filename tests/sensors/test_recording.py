"""Reading a recording: what comes out of a Motion-BIDS folder."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from sensors.bids_participants import Wearer
from sensors.errors import RecordingChoice, RecordingError
from sensors.recording import read_recording
from tests.support.motion_bids import MotionFolder, rows


@pytest.fixture
def folder(tmp_path):
    return MotionFolder(tmp_path / "set").write()


def test_values_come_in_si_units_at_the_precision_of_the_wire(folder):
    sensor = read_recording(folder.root).pelvis
    expected_gyro = np.radians([90.0, 180.0, -360.0]).astype(np.float32)
    expected_accel = (np.array([0.0, 1.0, 0.5]) * 9.80665).astype(np.float32)
    assert sensor.gyro.dtype == sensor.accel.dtype == np.float64
    assert (sensor.gyro[7] == expected_gyro).all()
    assert (sensor.accel[7] == expected_accel).all()
    assert sensor.time_s[7] == 0.07
    assert sensor.rate_hz == 100.0
    assert sensor.gyro.shape == sensor.accel.shape == (300, 3)


def test_radians_metres_and_milliseconds_are_taken_as_they_stand(folder):
    for system in ("pelvis", "upperback"):
        text = folder.file(system, "channels.tsv").read_text()
        text = (
            text.replace("deg/s", "rad/s").replace("\tg\n", "\tm/s^2\n").replace("\ts\n", "\tms\n")
        )
        folder.file(system, "channels.tsv").write_text(text)
        folder.file(system, "motion.tsv").write_text(
            "1000\t1\t2\t3\t4\t5\t6\n2500\t1\t2\t3\t4\t5\t6\n"
        )
    folder.events.unlink()
    sensor = read_recording(folder.root).upper_back
    assert sensor.time_s.tolist() == [1.0, 2.5]
    assert sensor.gyro[0].tolist() == [1.0, 2.0, 3.0]
    assert sensor.accel[0].tolist() == [4.0, 5.0, 6.0]


def test_columns_stand_in_the_order_that_channels_tsv_gives(folder):
    lines = folder.file("pelvis", "channels.tsv").read_text().splitlines(keepends=True)
    header, latency, *values = lines
    extra = "temp\tn/a\tMISC\tn/a\tdegC\n"
    folder.file("pelvis", "channels.tsv").write_text(
        "".join([header, *reversed(values), extra, latency])
    )
    folder.file("pelvis", "motion.tsv").write_text(
        "".join(f"0.5\t1\t0\t-360\t180\t90\tn/a\t{i / 100}\n" for i in range(300))
    )
    recording = read_recording(folder.root)
    assert (recording.pelvis.gyro == recording.upper_back.gyro).all()
    assert (recording.pelvis.accel == recording.upper_back.accel).all()
    assert (recording.pelvis.time_s == recording.upper_back.time_s).all()


def test_marks_come_in_order_of_time_and_other_events_are_left_alone(folder):
    marks = read_recording(folder.root).marks
    assert [(m.kind, m.start_s, m.end_s) for m in marks] == [
        ("stand", 0.25, 1.25),
        ("bow", 1.5, 2.0),
    ]


def test_the_wearer_comes_from_the_participants(folder):
    assert read_recording(folder.root).wearer == Wearer("01", "left", 1.68, 63.5, "female")


def test_height_in_centimetres_is_brought_to_metres(folder):
    (folder.root / "participants.tsv").write_text("participant_id\theight\nsub-01\t181\n")
    (folder.root / "participants.json").write_text('{"height": {"Units": "cm"}}')
    wearer = read_recording(folder.root).wearer
    assert wearer.height_m == pytest.approx(1.81)
    assert wearer.handedness is None


def test_without_participants_only_the_label_is_known(folder):
    (folder.root / "participants.tsv").unlink()
    assert read_recording(folder.root).wearer == Wearer("01")


@pytest.mark.parametrize("place", ["", "sub-01", "sub-01/ses-01", "sub-01/ses-01/motion"])
def test_any_folder_on_the_way_names_the_recording(folder, place):
    recording = read_recording(folder.root / place)
    assert recording.name == "sub-01_ses-01_task-swing"
    assert recording.wearer.handedness == "left"


def test_a_relative_folder_finds_what_stands_above_it(folder, monkeypatch):
    monkeypatch.chdir(folder.folder)
    assert read_recording(Path()).wearer.handedness == "left"
    assert read_recording(Path("../..")).wearer.handedness == "left"


def test_one_motion_file_names_its_recording(folder):
    recording = read_recording(folder.file("upperback", "motion.tsv"))
    assert recording.name == "sub-01_ses-01_task-swing"


def test_several_recordings_are_listed_and_one_can_be_named(folder):
    MotionFolder(folder.root.parent / "more", "sub-01_ses-02_task-swing", samples=250).write()
    shutil.move(folder.root.parent / "more/sub-01/ses-02", folder.root / "sub-01/ses-02")
    with pytest.raises(
        RecordingChoice, match=r"2 recordings \(sub-01_ses-01_task-swing, sub-01_se"
    ):
        read_recording(folder.root)
    assert len(read_recording(folder.root, name="sub-01_ses-02_task-swing").pelvis.time_s) == 250
    with pytest.raises(RecordingError, match="holds no recording ses-03; there is: sub-01_ses-01"):
        read_recording(folder.root, name="ses-03")


def test_without_latency_the_stated_rate_gives_the_times(folder):
    for system in ("pelvis", "upperback"):
        folder.replace(system, "channels.tsv", "latency\tn/a\tLATENCY\tn/a\ts\n", "")
        folder.file(system, "motion.tsv").write_text("90\t180\t-360\t0\t1\t0.5\n" * 300)
    assert (read_recording(folder.root).pelvis.time_s == np.arange(300) / 100.0).all()


def test_a_sidecar_further_up_holds_for_both_sensors(folder):
    for system in ("pelvis", "upperback"):
        text = folder.file(system, "channels.tsv").read_text()
        folder.file(system, "channels.tsv").unlink()
        folder.file(system, "motion.json").write_text("{}")
    (folder.root / "task-swing_channels.tsv").write_text(text)
    (folder.root / "task-swing_motion.json").write_text(
        '{"SamplingFrequency": 50, "TaskName": "half swings"}'
    )
    recording = read_recording(folder.root)
    assert recording.upper_back.rate_hz == 50.0
    assert recording.task == "half swings"
    assert any("stated rate 50 Hz, measured 100.0 Hz" in note for note in recording.notes)


def scans(folder, pelvis: str, upper_back: str) -> None:
    """A scans.tsv that says when each sensor's recording began."""
    (folder.folder.parent / "sub-01_ses-01_scans.tsv").write_text(
        "filename\tacq_time\n"
        f"motion/{folder.file('pelvis', 'motion.tsv').name}\t{pelvis}\n"
        f"motion/{folder.file('upperback', 'motion.tsv').name}\t{upper_back}\n"
    )


def test_a_sensor_that_began_later_is_brought_to_the_time_line_of_the_first(folder):
    scans(folder, "2025-04-01T10:30:00.250", "2025-04-01T10:30:00")
    recording = read_recording(folder.root)
    assert recording.pelvis.time_s[:2].tolist() == [0.25, 0.26]
    assert recording.upper_back.time_s[:2].tolist() == [0.0, 0.01]
    assert recording.notes == (
        "pelvis: began 0.25 s after the other sensor by scans.tsv; "
        "its times count from that one's beginning",
    )


@pytest.mark.parametrize("times", [("n/a", "2025-04-01T10:30:00"), ("2025-04-01T10:30:00Z",) * 2])
def test_without_a_difference_told_times_stay_as_they_are(folder, times):
    scans(folder, *times)
    recording = read_recording(folder.root)
    assert (recording.pelvis.time_s == recording.upper_back.time_s).all()
    assert recording.notes == ()


def test_line_ends_of_another_system_and_blank_lines_at_the_end_are_no_rows(folder):
    path = folder.file("pelvis", "motion.tsv")
    path.write_bytes(rows(300).replace("\n", "\r\n").encode() + b"\r\n\r\n")
    assert len(read_recording(folder.root).pelvis.time_s) == 300
    path.write_text(rows(300).rstrip("\n"))
    assert len(read_recording(folder.root).pelvis.time_s) == 300


def test_progress_rises_to_one(folder):
    told = []
    read_recording(folder.root, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_an_accelerometer_in_the_wrong_unit_is_said_but_read(folder):
    folder.file("pelvis", "motion.tsv").write_text(rows(300, values="1\t2\t3\t0\t9.81\t0"))
    recording = read_recording(folder.root)
    assert recording.pelvis.accel[0, 1] == pytest.approx(9.81 * 9.80665)
    assert any("9.81 g" in note and "unit" in note for note in recording.notes)


def test_a_duration_that_the_samples_do_not_bear_out_is_said(folder):
    folder.file("pelvis", "motion.json").write_text('{"RecordingDuration": 100000}')
    notes = read_recording(folder.root).notes
    assert any("stated to last 100000 s, holds 3.0 s" in note for note in notes)


@pytest.mark.parametrize(
    ("stated", "kind"), [('"mean"', "mean"), ('"instant"', "instant"), ('"n/a"', None)]
)
def test_what_a_gyro_sample_is_comes_from_motion_json(folder, stated, kind):
    folder.file("upperback", "motion.json").write_text(f'{{"GyroscopeSample": {stated}}}')
    recording = read_recording(folder.root)
    assert (recording.pelvis.rate_sample, recording.upper_back.rate_sample) == (None, kind)


@pytest.mark.parametrize("stated", ["strapped", "rigid"])
def test_what_holds_a_sensor_comes_from_motion_json(folder, stated):
    folder.file("upperback", "motion.json").write_text(f'{{"SensorFixing": "{stated}"}}')
    recording = read_recording(folder.root)
    assert (recording.pelvis.fixing, recording.upper_back.fixing) == (None, stated)


def test_sensor_ranges_come_from_motion_json(folder):
    folder.file("pelvis", "motion.json").write_text(
        '{"GyroscopeRange": 2000, "AccelerometerRange": 16, "SamplingFrequency": "n/a"}'
    )
    sensor = read_recording(folder.root).pelvis
    assert (sensor.gyro_range_dps, sensor.accel_range_g) == (2000.0, 16.0)
    assert sensor.rate_sample is None
    assert math.isclose(sensor.rate_hz, 100.0)
