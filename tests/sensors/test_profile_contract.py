"""What every profile that comes with torsolog must keep, and what its documents must say."""

import re
import shlex

import numpy as np
import pytest

from sensors.packet_decode import PacketDecoder
from sensors.packet_encode import PACKET_BYTES, PacketEncoder
from sensors.packet_layout import MAX_PACKET_BYTES
from sensors.profile_file import parse_profile, read_profile
from sensors.profile_library import built_in_profiles
from sensors.profile_schema import every_key
from sensors.profile_summary import packet_lines, summary_lines
from tests.support.any_profile import motion, one_count
from tests.support.profile_text import PROFILES, SENSORS_README

README = SENSORS_README.read_text("utf-8")
BUILT_IN = built_in_profiles()
EACH = pytest.mark.parametrize("profile", BUILT_IN, ids=lambda profile: profile.id)


def test_every_file_is_found_and_called_by_its_id():
    assert [f"{profile.id}.toml" for profile in BUILT_IN] == sorted(
        path.name for path in PROFILES.iterdir()
    )
    assert {"open-sensor", "thingy-52"} <= {profile.id for profile in BUILT_IN}


@EACH
def test_each_says_where_its_layout_is_described(profile):
    assert profile.documentation
    assert (PROFILES / f"{profile.id}.toml").read_text("utf-8").startswith("# ")


@EACH
def test_each_is_known_by_its_service_and_reads_the_battery(profile):
    assert profile.recognise.services
    assert profile.battery.characteristic.startswith("00002a19-")


@EACH
@pytest.mark.parametrize("sequence", [0, 65533])
def test_each_reads_what_it_sends_within_half_a_count(profile, sequence):
    gyro, accel, ticks = motion(profile, 2000, seed=7)
    encoder = PacketEncoder(profile, sequence=sequence)
    sent = encoder.encode(gyro, accel, ticks) + encoder.flush()
    assert max(len(packet.payload) for packet in sent) <= PACKET_BYTES
    decoder = PacketDecoder(profile)
    read = decoder.decode([packet.payload for packet in sent], sent[0].characteristic)
    counts = one_count(profile)
    assert np.abs(read.gyro - gyro).max() <= 0.5001 * counts[0]
    assert np.abs(read.accel - accel).max() <= 0.5001 * counts[1]
    assert np.array_equal(read.number, np.arange(2000))
    assert np.abs(read.ticks - (ticks if profile.tick else read.number)).max() <= 1
    assert not decoder.counts.faults
    assert decoder.counts.lost == decoder.counts.restarts == 0


@EACH
def test_each_sends_the_ends_of_its_range_and_stops_there(profile):
    ends = np.array([[1e6, -1e6, 0.0]])
    (sent,) = PacketEncoder(profile, samples_per_packet=1).encode(ends, 0 * ends, np.zeros(1, int))
    read = PacketDecoder(profile).decode([sent.payload])
    reach = float(profile.gyro.range) * profile.gyro.to_si
    assert read.gyro[0] == pytest.approx([reach, -reach, 0.0], rel=0.01)


@EACH
def test_each_fits_into_a_notification_and_reads_no_half_of_one(profile):
    decoder = PacketDecoder(profile)
    gyro, accel, ticks = motion(profile, 200)
    for packet in PacketEncoder(profile, packet_bytes=MAX_PACKET_BYTES).encode(gyro, accel, ticks):
        assert len(packet.payload) <= MAX_PACKET_BYTES
        for length in (0, 1, len(packet.payload) // 2, len(packet.payload) - 1):
            assert not len(decoder.decode([packet.payload[:length]]))
        assert not len(decoder.decode([packet.payload + b"\0"]))
    assert sum(decoder.counts.faults.values()) == decoder.counts.packets > 0


@EACH
def test_each_can_be_told_in_words(profile):
    text = "\n".join(summary_lines(profile))
    for characteristic in profile.notify_characteristics:
        assert characteristic in text
    assert f"{profile.rate_hz:g} samples a second" in text


def test_the_worked_examples_decode_to_the_numbers_beside_them():
    shown = re.findall(r"```console\n\$ torsolog (.*)\n((?:.*\n)*?)```", README)
    assert len(shown) >= 2
    for command, answer in shown:
        words = shlex.split(command)
        assert words[:3] == ["profile", "check", "open-sensor"]
        profile = read_profile(PROFILES / "open-sensor.toml")
        assert "\n".join(packet_lines(profile, bytes.fromhex(words[4]))) + "\n" == answer


def test_the_table_of_the_open_sensor_names_the_uuids_of_its_profile():
    profile = read_profile(PROFILES / "open-sensor.toml")
    named = set(re.findall(r"`([0-9a-f]{8}-[0-9a-f-]{27})`", README))
    uuids = {*profile.recognise.services, *profile.notify_characteristics}
    assert named == uuids | {write.characteristic for write in (*profile.start, *profile.stop)}
    assert [write.bytes.hex(" ") for write in profile.start] == ["01 c8 00"]
    assert [write.bytes.hex(" ") for write in profile.stop] == ["00"]


def test_the_example_of_another_sensor_is_sound_and_works():
    (text,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    profile = parse_profile(text)
    gyro, accel, ticks = motion(profile, 400)
    encoder = PacketEncoder(profile, sequence=200)
    sent = [packet.payload for packet in encoder.encode(gyro, accel, ticks)]
    decoder = PacketDecoder(profile)
    read = decoder.decode(sent)
    assert len(read) == 400 // encoder.samples_per_packet * encoder.samples_per_packet
    assert np.abs(read.gyro - gyro[: len(read)]).max() <= 0.5001 * one_count(profile)[0]
    assert np.array_equal(read.number, np.arange(len(read)))
    assert not decoder.counts.faults


def test_the_documents_list_every_key_and_none_that_is_not_there():
    table = README.split("### Every key")[1].split("### What becomes")[0]
    named = {key for row in table.splitlines() for key in _first_cell(row)}
    keys = {key for key in every_key() if "=" not in key}
    fields = {key.split("=")[1] for key in every_key() if "=" in key}
    places = {key.split("=")[0] for key in every_key() if "=" in key}
    assert named == keys | fields | places


def _first_cell(row: str) -> list[str]:
    cell = row.split("|")[1] if row.startswith("| `") else ""
    return re.findall(r"`([^`]+)`", cell)
