"""A profile's mistakes are told with file, line and key, and what was expected."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.errors import ProfileError
from sensors.profile_file import MAX_FILE_BYTES, parse_profile, read_profile
from tests.support.any_profile import profile_tables, toml_text
from tests.support.profile_text import OPEN_SENSOR, SENSORS_README, SMALL

TWO_KINDS = SENSORS_README.read_text("utf-8").split("```toml\n")[1].split("```")[0]


def complaint(text: str, old: str, new: str) -> ProfileError:
    """What is said of a sound profile with one thing replaced, its last occurrence."""
    assert old in text
    before, after = text.rsplit(old, 1)
    with pytest.raises(ProfileError) as caught:
        parse_profile(before + new + after)
    return caught.value


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "expected"),
    [
        ('"Small sensor"', '"Small sensor', 3, None, "not TOML"),
        ("[accel]", "[accel", 27, None, "not TOML"),
        ("rate_hz = 100", "rate_hz = 100\nrate_hz = 200", 5, None, "overwrite"),
        ("format = 1", "format = 2", 1, "format", "reads format 1, received 2"),
        ('id = "small"', 'id = "My sensor"', 2, "id", "small letters"),
        ('id = "small"', "", None, "id", "is missing"),
        ("rate_hz = 100", 'rate_hz = "fast"', 4, "rate_hz", "a number, received text"),
        ("rate_hz = 100", "rate_hz = 5", 4, "rate_hz", "10 to 8000"),
        ("rate_hz = 100", "rate_hz = nan", 4, "rate_hz", "10 to 8000"),
        ("rate_hz = 100", "rate_hz = 100\ndelay_s = 4.9", 5, "delay_s", "0 to 0.1 s, received 4.9"),
        ("rate_hz = 100", "rate_hz = 100\ndelay_s = -0.001", 5, "delay_s", "0 to 0.1 s"),
        ("rate_hz = 100", 'rate_hz = 100\ndelay_s = "5 ms"', 5, "delay_s", "a number"),
        ('names = ["Small"]', "", 6, "recognise", "at least one of 'names'"),
        ('["Small"]', '["Small", ""]', 7, "recognise.names[1]", "every device"),
        ('["Small"]', '["Small"]\nmanufacturer_ids = [1, 70000]', 8, "recognise.manufacturer_ids"
         "[1]", "0 to 65535"),
        ("-00000000c0de", "", 11, "packet[0].characteristic", "a UUID such as"),
        ('field = "sequence"', 'field = "number"', 13, "packet[0].header[0].field", '"sequence"'),
        ('type = "uint8"', 'type = "uint12"', 13, "packet[0].header[0].type", '"uint24"'),
        ('"uint8"', '"uint8", step = 200', 13, "packet[0].header[0].step", "1 to 127"),
        ('type = "uint8"', 'size = 1, type = "uint8"', 13, "packet[0].header[0].size", "no such"),
        ('type = "uint16" }', 'type = "uint16" }, { field = "tick", type = "uint16" }', 14,
         "packet[0].header[2].field", "one field 'tick'"),
        ('samples = "fill"', "samples = 0", 16, "packet[0].samples", "1 or more"),
        ('samples = "fill"', "samples = 100", 17, "packet[0].sample", "at most 512"),
        ('samples = "fill"', 'samples = "count"', 16, "packet[0].samples", "'count' in the header"),
        ('samples = "fill"', 'samples = "many"', 16, "packet[0].samples", '"fill"'),
        ('samples = "fill"', "trailer_bytes = -1", 16, "packet[0].trailer_bytes", "0 or more"),
        ('{ field = "accel", type = "int16" }', "", 9, "packet", "'gyro' and 'accel'"),
        ('{ field = "accel", type = "int16" }', '{ field = "skip", bytes = 0 }', 17,
         "packet[0].sample[1].bytes", "1 to 512"),
        ("[tick]\nperiod_s = 0.001", "", 9, "packet[0]", "[tick] with its 'period_s'"),
        ("period_s = 0.001", "period_s = 0", 20, "tick.period_s", "a number above 0"),
        ("period_s = 0.001", "period_s = 0.000001", 20, "tick.period_s", "cannot be followed"),
        ('unit = "deg/s"', 'unit = "dps"', 23, "gyro.unit", '"deg/s"'),
        ('unit = "deg/s"', 'unit = "deg/s"\nsample = "median"', 24, "gyro.sample",
         'one of "instant", "mean"'),
        ('unit = "g"', 'unit = "g"\nsample = "mean"', 29, "accel.sample", "no such"),
        ('unit = "g"', 'unit = "m/s^2"', 30, "accel.range", "'unit' right?"),
        ("per_count = 0.001", 'per_count = "1/0"', 29, "accel.per_count", "'1/32768'"),
        ("per_count = 0.1", "per_count = 0.01", 25, "gyro.range", "largest count is 327.68"),
        ("range = 16", 'range = 16\naxes = ["+x", "-x", "+z"]', 31, "accel.axes", "once each"),
        ("range = 16", 'range = 16\naxes = ["+x", "-y"]', 31, "accel.axes", "a list of 3"),
        ("range = 16", 'range = 16\n[mounting]\nup = "+y"\nforward = "-y"', 33,
         "mounting.forward", "another axis"),
        ("range = 16", 'range = 16\n[baterry]\ncharacteristic = "2a19"', 31, "baterry",
         "did you mean 'battery'"),
        ("range = 16", 'range = 16\n[[start]]\ncharacteristic = "2a19"\nbytes = "0 1"', 33,
         "start[0].bytes", "pairs of hex digits"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_line_its_key_and_what_was_expected(
    old, new, line, key, expected
):
    error = complaint(SMALL, old, new)
    assert (error.line, error.key) == (line, key)
    assert expected in error.problem


@pytest.mark.parametrize(
    ("old", "new", "key", "expected"),
    [
        ("value = 0x41", "value = 0x47", "packet[1]", "'marker' at the same place"),
        ("value = 0x41", "value = 256", "packet[1].header[0].value", "0 to 255"),
        ("step = 2", "step = 1", "packet[1].header", "same 'type' and 'step'"),
        ('type = "uint24"', 'type = "uint32"', "packet[1].header", "'tick' of the same"),
        ('"pushing"', '"turning"', "packet[1].name", "too"),
        ('field = "accel"', 'field = "gyro"', "packet", "'gyro', 'gyro'"),
    ],
)
def test_two_kinds_of_packet_must_be_told_apart_and_be_brought_together(old, new, key, expected):
    error = complaint(TWO_KINDS, old, new)
    assert error.key == key
    assert expected in error.problem


def test_a_clock_that_no_packet_carries_is_a_mistake():
    error = complaint(SMALL, '    { field = "tick", type = "uint16" },\n', "")
    assert error.key == "tick"


def test_a_count_in_the_header_must_be_used():
    error = complaint(OPEN_SENSOR, 'samples = "count"', 'samples = "fill"')
    assert "header has a field 'count'" in error.problem


def test_the_text_names_the_file_first(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(SMALL.replace("range = 16", "rang = 16"))
    with pytest.raises(ProfileError) as caught:
        read_profile(file)
    assert str(caught.value).startswith(f"{file}, line 30, key accel.rang: there is no such key")


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"\xff\xfe", "UTF-8"),
        (b"", "key format"),
        (b"x" * (MAX_FILE_BYTES + 1), "kB"),
        (b"a = " + b"[" * 5000, "toml"),
    ],
)
def test_a_file_that_is_no_profile_is_refused(tmp_path, content, expected):
    file = tmp_path / "mine.toml"
    file.write_bytes(content)
    with pytest.raises(ProfileError) as caught:
        read_profile(file)
    assert expected in str(caught.value)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(ProfileError) as caught:
            read_profile(path)
        assert str(path) in str(caught.value)


def test_a_sound_profile_is_read_whole():
    profile = parse_profile(SMALL)
    assert profile.packet[0].endian == "little"
    assert profile.tick_s == 0.001
    assert profile.gyro_range_dps == pytest.approx(2000.0)
    assert profile.accel_range_g == pytest.approx(16.0)
    assert profile.start == profile.stop == ()


@given(profile_tables(), st.data())
@settings(max_examples=150, deadline=None)
def test_whatever_is_changed_in_a_file_it_is_read_or_refused_with_its_place(tables, data):
    lines = toml_text(tables).splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    line = lines[at]
    cut = data.draw(st.integers(0, len(line)))
    rest = data.draw(st.sampled_from([line[cut + 1 :], "x" + line[cut:], '"' + line[cut:], "9"]))
    lines[at] = line[:cut] + rest
    error = refusal("\n".join(lines))
    if error is None:
        return
    assert error.problem
    assert error.line is None or 1 <= error.line <= len(lines) + 1
    assert error.line or error.key or "not TOML" in error.problem


def refusal(text: str) -> ProfileError | None:
    try:
        parse_profile(text)
    except ProfileError as error:
        return error
    return None
