"""Recordings that cannot be read: one clear sentence that names the place and what was expected."""

from __future__ import annotations

import os
import tracemalloc

import pytest

from sensors.errors import RecordingError
from sensors.recording import read_recording
from tests.support.motion_bids import ROW, MotionFolder, rows


@pytest.fixture
def folder(tmp_path):
    return MotionFolder(tmp_path / "set").write()


def refusal(folder: MotionFolder) -> RecordingError:
    with pytest.raises(RecordingError) as caught:
        read_recording(folder.root)
    return caught.value


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(RecordingError, match=r"nowhere: there is no such folder"):
        read_recording(tmp_path / "nowhere")


def test_a_folder_without_motion_files(tmp_path):
    with pytest.raises(RecordingError, match=r"holds no recording; expected a Motion-BIDS folder"):
        read_recording(tmp_path)


def test_a_file_that_is_no_recording(tmp_path):
    (tmp_path / "letter.txt").write_text("dear sir")
    with pytest.raises(RecordingError, match="holds no recording"):
        read_recording(tmp_path / "letter.txt")


def test_one_sensor_missing_names_the_file_that_was_expected(folder):
    folder.file("upperback", "motion.tsv").unlink()
    text = str(refusal(folder))
    assert "the upper back sensor is missing" in text
    assert "sub-01_ses-01_task-swing_tracksys-upperback_motion.tsv" in text


def test_other_tracking_systems_are_named(folder):
    for system in ("pelvis", "upperback"):
        path = folder.file(system, "motion.tsv")
        path.rename(str(path).replace(system, f"left{system}"))
    assert "leftpelvis, leftupperback; expected pelvis and upperback" in str(refusal(folder))


@pytest.mark.parametrize(
    "ending", ["motion.tsv", "channels.tsv", "motion.json"], ids=["samples", "channels", "facts"]
)
def test_an_empty_file(folder, ending):
    folder.file("pelvis", ending).write_bytes(b"")
    error = refusal(folder)
    assert error.path == folder.file("pelvis", ending)
    assert "empty" in str(error)


def test_a_file_of_blank_lines_only(folder):
    folder.file("pelvis", "motion.tsv").write_text("\n\n\n")
    assert "holds no samples" in str(refusal(folder))


def test_no_channels_table(folder):
    folder.file("pelvis", "channels.tsv").unlink()
    assert "tracksys-pelvis_channels.tsv" in str(refusal(folder))


def test_columns_of_the_channels_table_missing(folder):
    folder.replace("pelvis", "channels.tsv", "\tunits\n", "\tunit\n")
    assert "units is missing, found: name, component" in str(refusal(folder))


@pytest.mark.parametrize(("kind", "axis"), [("GYRO", "z"), ("ACCEL", "x")])
def test_a_channel_missing(folder, kind, axis):
    folder.replace("pelvis", "channels.tsv", f"\t{axis}\t{kind}\t", f"\t{axis}\tMISC\t")
    assert f"one channel of type {kind} with component {axis}, found none" in str(refusal(folder))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("deg/s", "rpm", "gyro_x is in 'rpm'; expected one of: rad/s, deg/s"),
        ("\tg\n", "\tmg\n", "accel_x is in 'mg'; expected one of: m/s^2"),
        ("\tg\n", "\tn/a\n", "accel_x is in 'n/a'"),
        ("\ts\n", "\tmin\n", "latency is in 'min'; expected one of: s, ms"),
    ],
)
def test_a_unit_that_is_not_known(folder, old, new, said):
    folder.replace("pelvis", "channels.tsv", old, new)
    assert said in str(refusal(folder))


def test_three_axes_in_two_units(folder):
    folder.replace("pelvis", "channels.tsv", "deg/s", "rad/s")
    assert "three GYRO channels must have one unit" in str(refusal(folder))


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("n/a", "the value is missing"),
        ("", "the value is missing"),
        ("NaN", "NaN is not a finite number"),
        ("-inf", "-inf is not a finite number"),
        ("fast", "expected a number, received 'fast'"),
        ("1,5", "expected a number, received '1,5'"),
        ("1_0", "expected a number, received '1_0'"),
        ("0x1F", "expected a number, received '0x1F'"),
        ("1e999", "'1e999' is too large"),
        ("1e9", "check the units"),
    ],
)
def test_a_cell_that_is_no_number_is_named_with_line_and_column(folder, cell, said):
    lines = rows(300).splitlines()
    lines[41] = f"0.41\t1\t{cell}\t3\t0\t1\t0"
    folder.file("upperback", "motion.tsv").write_text("\n".join(lines) + "\n")
    error = refusal(folder)
    assert said in str(error)
    assert (error.path, error.line) == (folder.file("upperback", "motion.tsv"), 42)
    assert error.column in (3, None)


def test_a_header_line_in_the_table_of_numbers_is_explained(folder):
    folder.file("pelvis", "motion.tsv").write_text("t\tx\ty\tz\ta\tb\tc\n" + rows(300))
    assert "line 1, column 2: channel gyro_x" in str(refusal(folder))
    assert "has no header line" in str(refusal(folder))


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("0.05\t1\t2", "this line has 3 values"),
        (f"0.05\t{ROW}\t7", "this line has 8 values"),
        ("", "the line is empty"),
    ],
)
def test_a_line_with_another_number_of_values(folder, line, found):
    lines = rows(300).splitlines()
    lines[5] = line
    folder.file("pelvis", "motion.tsv").write_text("\n".join(lines) + "\n")
    error = refusal(folder)
    assert f"expected 7 values a line as channels.tsv lists; {found}" in str(error)
    assert error.line == 6


def test_a_short_line_is_not_made_good_by_a_long_one(folder):
    lines = rows(300).splitlines()
    lines[5], lines[6] = f"0.05\t{ROW}\t0.06", ROW
    folder.file("pelvis", "motion.tsv").write_text("\n".join(lines) + "\n")
    assert refusal(folder).line == 6


@pytest.mark.parametrize("time", ["0.0300", "0.0400", "-1"])
def test_time_that_does_not_increase(folder, time):
    lines = rows(300).splitlines()
    lines[5] = f"{time}\t{ROW}"
    folder.file("pelvis", "motion.tsv").write_text("\n".join(lines) + "\n")
    error = refusal(folder)
    assert "time must increase from line to line" in str(error)
    assert error.line == 6


def test_two_sensors_that_share_no_time(folder):
    folder.file("upperback", "motion.tsv").write_text(rows(300, start_s=60.0))
    assert "share no time: pelvis 0 to 2.99 s, upper back 60 to 62.99 s" in str(refusal(folder))


def test_one_sample_is_no_recording(folder):
    folder.file("pelvis", "motion.tsv").write_text(rows(1))
    assert "one sample only" in str(refusal(folder))


def test_samples_without_any_time(folder):
    folder.replace("pelvis", "channels.tsv", "latency\tn/a\tLATENCY\tn/a\ts\n", "")
    folder.file("pelvis", "motion.json").write_text("{}")
    assert "neither a LATENCY channel nor a SamplingFrequency" in str(refusal(folder))


@pytest.mark.parametrize("ending", ["motion.tsv", "channels.tsv", "motion.json"])
def test_bytes_that_are_not_utf8(folder, ending):
    path = folder.file("pelvis", ending)
    path.write_bytes(path.read_bytes()[:40] + "°".encode("latin-1") + path.read_bytes()[40:])
    assert "not UTF-8 text" in str(refusal(folder))


def test_a_table_of_utf16_is_not_utf8(folder):
    folder.file("pelvis", "motion.tsv").write_bytes(rows(300).encode("utf-16"))
    assert "not UTF-8" in str(refusal(folder))


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ('{"MotionChannelCount": 10000000000}', "claims 10000000000, but channels.tsv lists 7"),
        ('{"GYROChannelCount": 1e30}', "GYROChannelCount claims 1e+30"),
        ('{"SamplingFrequency": 1e12}', "expected 1 to 10000 Hz"),
        ('{"SamplingFrequency": 0}', "must be a number above 0"),
        ('{"SamplingFrequency": "fast"}', "received 'fast'"),
        ('{"RecordingDuration": 1e299}', "RecordingDuration claims 1e+299 s"),
        ('{"RecordingDuration": 1' + "0" * 400 + "}", "RecordingDuration claims inf s"),
        ('{"GyroscopeSample": "median"}', "'instant', 'mean' or 'n/a', received 'median'"),
        ('{"GyroscopeSample": ["mean"]}', "GyroscopeSample must be 'instant', 'mean'"),
        ('{"SensorFixing": "glued"}', "'strapped', 'rigid' or 'n/a', received 'glued'"),
        ('{"SamplingFrequency": NaN}', "not valid JSON"),
        ("[1, 2]", "expected a JSON object"),
        ('{"a": ' * 100_000, "not valid JSON"),
    ],
)
def test_a_header_with_an_absurd_claim(folder, facts, said):
    folder.file("pelvis", "motion.json").write_text(facts)
    assert said in str(refusal(folder))


def test_ten_thousand_channels_are_a_claim_too_many(folder):
    with folder.file("pelvis", "channels.tsv").open("a") as file:
        file.writelines(f"m{i}\tn/a\tMISC\tn/a\tn/a\n" for i in range(10_000))
    assert "lists 10007 channels; expected 1 to 1000" in str(refusal(folder))


def test_a_file_far_too_large_is_refused_unread(folder):
    os.truncate(folder.file("pelvis", "motion.tsv"), 10 * 10**9)
    tracemalloc.start()
    try:
        assert "the file has 10000 MB" in str(refusal(folder))
        assert tracemalloc.get_traced_memory()[1] < 5e6
    finally:
        tracemalloc.stop()


def test_a_line_without_an_end_is_refused_early(folder):
    folder.file("pelvis", "motion.tsv").write_bytes(b"1" * 10_000_000)
    assert "a line has more than 65536 bytes" in str(refusal(folder))


@pytest.mark.parametrize(
    ("event", "said"),
    [
        ("soon\t1\tstand", "column onset holds a number, received 'soon'"),
        ("n/a\t1\tstand", "the event stand needs an onset and a duration above 0"),
        ("1\t0\tbow", "the event bow needs an onset and a duration above 0"),
        ("1\tnan\tbow", "column duration holds a number, received 'nan'"),
        ("100\t1\tbow", "lies outside the samples, which run from 0 to 2.99 s"),
        ("1\t1", "the header names 3 columns, this line has 2"),
    ],
)
def test_events_that_mark_nothing(folder, event, said):
    folder.events.write_text(f"onset\tduration\ttrial_type\n0.1\t1\tstand\n{event}\n")
    error = refusal(folder)
    assert said in str(error)
    assert (error.path, error.line) == (folder.events, 3)


def test_a_beginning_that_is_no_time(folder):
    (folder.folder.parent / "sub-01_ses-01_scans.tsv").write_text(
        f"filename\tacq_time\nmotion/{folder.file('pelvis', 'motion.tsv').name}\tnoon\n"
    )
    error = refusal(folder)
    assert "acq_time must be such as 2025-04-01T10:30:00.250, received 'noon'" in str(error)
    assert error.line == 2


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("both\t1.7\t70", "handedness must be right or left, received 'both'"),
        ("left\t17\t70", "height 17"),
        ("left\t1.7\t7000", "weight 7000 kg is not 15 to 300 kg"),
        ("left\ttall\t70", "column height holds a number, received 'tall'"),
    ],
)
def test_a_participant_that_cannot_be(folder, row, said):
    (folder.root / "participants.tsv").write_text(
        f"participant_id\thandedness\theight\tweight\nsub-01\t{row}\n"
    )
    assert said in str(refusal(folder))
