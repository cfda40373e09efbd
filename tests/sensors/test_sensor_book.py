"""Which sensor is worn where, kept from run to run."""

from __future__ import annotations

import os
import sys

import pytest

from sensors.sensor_book import KnownSensor, SensorBook, SensorBookError, default_path


def sensor(segment="pelvis", address="C0:01"):
    return KnownSensor(address=address, name="torsolog 1", profile="open-sensor", segment=segment)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "new" / "sensors.json"


def test_a_sensor_is_known_again_in_the_next_run(path):
    assert SensorBook(path).sensors == ()
    book = SensorBook(path)
    book.assign(sensor("upper_back", "C0:02"))
    book.assign(sensor())
    assert SensorBook(path).sensors == (sensor(), sensor("upper_back", "C0:02"))
    assert SensorBook(path).worn_on("pelvis") == sensor()
    assert SensorBook(path).at("c0:02") == sensor("upper_back", "C0:02")
    assert SensorBook(path).at("C0:03") is None


def test_a_place_has_one_sensor_and_a_sensor_one_place(path):
    book = SensorBook(path)
    book.assign(sensor())
    book.assign(sensor("pelvis", "C0:09"))
    assert book.sensors == (sensor("pelvis", "C0:09"),)
    book.assign(sensor("upper_back", "c0:09"))
    assert book.sensors == (sensor("upper_back", "c0:09"),)


def test_two_sensors_change_places(path):
    book = SensorBook(path)
    book.assign(sensor())
    book.assign(sensor("upper_back", "C0:02"))
    book.swap()
    assert SensorBook(path).worn_on("upper_back") == sensor("upper_back")
    book.forget("C0:01")
    book.forget("C0:77")
    assert SensorBook(path).sensors == (sensor("pelvis", "C0:02"),)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "not a list of remembered sensors"),
        ('{"format": 1, "sensors": [{"address": 3}]}', r"Expected `str`, got `int`"),
        ('{"format": 2, "sensors": []}', "expected format 1, received 2"),
        ("\udcff", "not a list of remembered sensors"),
    ],
)
def test_a_file_that_cannot_be_read_is_said_and_left_alone(tmp_path, content, words):
    path = tmp_path / "sensors.json"
    path.write_bytes(content.encode("utf-8", "surrogateescape"))
    with pytest.raises(SensorBookError, match=words):
        SensorBook(path)
    assert path.read_bytes() == content.encode("utf-8", "surrogateescape")


def test_two_sensors_in_one_place_are_refused(path):
    book = SensorBook(path)
    book.assign(sensor())
    text = path.read_text()
    start, end = text.index("[") + 1, text.rindex("]")
    path.write_text(f"{text[:end].rstrip()},{text[start:]}")
    with pytest.raises(SensorBookError, match="one sensor a segment"):
        SensorBook(path)


@pytest.mark.skipif(sys.platform == "win32", reason="folders cannot be made read-only like this")
def test_a_book_that_cannot_be_written_stays_as_it_was(path, monkeypatch):
    book = SensorBook(path)
    book.assign(sensor())

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SensorBookError, match="No space left on device; nothing was remembered"):
        book.assign(sensor("upper_back", "C0:02"))
    assert book.sensors == (sensor(),)
    assert SensorBook(path).sensors == (sensor(),)
    assert [entry.name for entry in path.parent.iterdir()] == ["sensors.json"]


def test_the_file_lies_in_the_users_configuration(monkeypatch, tmp_path):
    if sys.platform != "linux":
        pytest.skip("the variable that names the folder is one of Linux")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert default_path() == tmp_path / "torsolog" / "sensors.json"
