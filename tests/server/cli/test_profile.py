"""`torsolog profile`: what can be read, what a profile means, what a packet says."""

import pytest

from tests.support.profile_text import PROFILES, SMALL, small_packet


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    """The folder of the user's own profiles, empty."""
    folder = tmp_path / "sensor-profiles"
    folder.mkdir()
    monkeypatch.setattr("sensors.profile_library.user_profile_folder", lambda: folder)
    return folder


@pytest.fixture
def small(tmp_path):
    """A sound profile in a file."""
    file = tmp_path / "small.toml"
    file.write_text(SMALL)
    return file


def test_the_list_names_what_came_along_and_where_ones_own_go(torsolog, own_folder):
    answer = torsolog("profile", "list")
    assert answer.code == 0
    assert "open-sensor   200 Hz  torsolog open sensor  (built in)" in answer.out
    assert len(answer.out.splitlines()) == len(list(PROFILES.glob("*.toml")))
    assert "your own profiles go into" in answer.err


def test_ones_own_profile_is_listed_with_its_file(torsolog, own_folder):
    (own_folder / "small.toml").write_text(SMALL)
    answer = torsolog("profile", "list")
    assert f"Small sensor  ({own_folder / 'small.toml'})" in answer.out
    assert torsolog("profile", "check", "small").code == 0


def test_a_profile_of_ones_own_that_is_wrong_is_told_and_the_others_are_listed(
    torsolog, own_folder
):
    (own_folder / "small.toml").write_text(SMALL.replace("range = 16", "range = -1"))
    answer = torsolog("profile", "list")
    assert answer.code == 1
    assert "open-sensor" in answer.out
    assert "small.toml, line 30, key accel.range" in answer.err


def test_a_sound_profile_is_told_in_words_and_units(torsolog, small):
    answer = torsolog("profile", "check", small)
    assert answer.code == 0
    for words in (
        "100 samples a second",
        "a name that begins with 'Small'",
        "byte 1        tick uint16",
        "as many samples as fit, 12 bytes each",
        "ticks of 1000 us",
        "up to 2000 deg/s, one count is 0.1 deg/s",
        "note: No battery level is read.",
    ):
        assert words in answer.out
    assert answer.err == f"{small}: nothing is wrong with it\n"


def test_a_mistake_ends_in_failure_and_one_sentence_with_its_place(torsolog, small):
    small.write_text(SMALL.replace('unit = "g"', 'unit = "G"'))
    answer = torsolog("profile", "check", small)
    assert answer.code == 1
    assert answer.out == ""
    place = f"torsolog: {small}, line 28, key accel.unit: "
    assert answer.err == place + 'expected one of "g", "m/s^2", received \'G\'\n'


@pytest.mark.parametrize("form", [" ", ":", "", "-"])
def test_packets_are_decoded_to_numbers_with_units(torsolog, small, form):
    packets = [small_packet(number, 20 * number, value=900).hex(" ") for number in (3, 4)]
    first, second = (packet.replace(" ", form) for packet in packets)
    answer = torsolog("profile", "check", small, "--packet", first, "--packet", second)
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert lines[0] == (
        "packet 'motion': 27 bytes, 2 samples, counter 3, first sample at tick 60 (0.060000 s)"
    )
    assert lines[1].split()[:3] == ["sample", "gyro", "x"]
    assert lines[2].split() == ["deg/s"] * 3 + ["m/s^2"] * 3
    assert lines[3].split() == ["1", "90.000", "0.000", "0.000", "0.000", "0.000", "9.807"]
    assert "counter 4" in lines[5]


@pytest.mark.parametrize(
    ("packet", "expected"),
    [
        ("00 00 00 01", "3 bytes and 12 for each sample, received 4 bytes"),
        ("000", "pairs of hex digits"),
        ("grün", "pairs of hex digits"),
        ("", "pairs of hex digits"),
    ],
)
def test_a_packet_that_does_not_fit_ends_in_failure_and_says_what_would(
    torsolog, small, packet, expected
):
    answer = torsolog("profile", "check", small, "--packet", packet)
    assert answer.code == 1
    assert answer.out == ""
    assert answer.err.startswith("torsolog: ")
    assert expected in answer.err


def test_a_value_beyond_the_range_is_told(torsolog, small):
    small.write_text(SMALL.replace("per_count = 0.1", "per_count = 1.0"))
    answer = torsolog("profile", "check", small, "--packet", small_packet(0, 0, value=9000).hex())
    assert answer.code == 1
    assert "gyro may reach 2000 deg/s" in answer.err


def test_what_is_neither_file_nor_profile_is_told_with_those_there_are(torsolog, own_folder):
    answer = torsolog("profile", "check", "nothing")
    assert answer.code == 1
    assert "nothing: no such file" in answer.err
    assert "open-sensor" in answer.err


@pytest.mark.parametrize("command", ["list", "check"])
def test_each_explains_itself(torsolog, command):
    answer = torsolog("profile", command, "--help")
    assert answer.code == 0
    assert "profile" in answer.out
