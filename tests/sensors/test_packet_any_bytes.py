"""Whatever a radio brings: samples or a counted fault, for sensors of every shape."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.packet_decode import PacketDecoder
from sensors.packet_encode import PacketEncoder
from sensors.packet_layout import PacketFault
from sensors.profile_file import parse_profile
from sensors.profile_library import built_in_profiles
from tests.support.any_profile import motion, one_count, profile_tables, toml_text

OURS, KIT = built_in_profiles()
profiles = profile_tables().map(lambda tables: parse_profile(toml_text(tables)))
payloads = st.lists(st.binary(max_size=80) | st.binary(min_size=500, max_size=520), max_size=12)


def decodes(decoder: PacketDecoder, packets: list[bytes]) -> None:
    """Nothing is lost sight of, and what comes out is whole."""
    counts = decoder.counts
    before = counts.packets, counts.samples, sum(counts.faults.values())
    samples = decoder.decode(packets)
    n = len(samples)
    assert counts.packets == before[0] + len(packets)
    assert counts.samples == before[1] + n
    assert samples.gyro.shape == samples.accel.shape == (n, 3)
    assert len(samples.packet) == len(samples.start) == len(samples.ticks) == n
    assert np.isfinite(samples.gyro).all()
    assert np.isfinite(samples.accel).all()
    same_start = np.diff(samples.start) == 0
    assert (np.diff(samples.number)[same_start] > 0).all()
    assert (np.diff(samples.start) >= 0).all()
    kinds = sum(bool(layout.values) for layout in decoder.layouts)
    if kinds == 1:
        told = sum(counts.faults.values()) - before[2]
        assert len(set(samples.packet.tolist())) + told == len(packets)


@given(profiles, payloads)
@settings(max_examples=200, deadline=None)
def test_any_bytes_give_samples_or_a_counted_fault(profile, packets):
    decoder = PacketDecoder(profile)
    decodes(decoder, packets)
    decodes(decoder, packets[::-1])


@pytest.mark.parametrize("profile", [OURS, KIT], ids=lambda profile: profile.id)
@given(payloads)
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_survived_by_what_is_built_in(profile, packets):
    decodes(PacketDecoder(profile), packets)


@given(profiles, st.data())
@settings(max_examples=200, deadline=None)
def test_damaged_packets_do_no_harm_beyond_themselves(profile, data):
    """A real stream, in which packets are bent, cut, doubled and dropped."""
    encoder = PacketEncoder(profile, packet_bytes=200)
    packets = [sent.payload for sent in encoder.encode(*motion(profile, 200))][:12]
    at = st.integers(0, len(packets) - 1)
    for _ in range(data.draw(st.integers(1, 6))):
        index, other = data.draw(at), data.draw(at)
        packet = bytearray(packets[index])
        packet[data.draw(st.integers(0, max(len(packet) - 1, 0)))] ^= data.draw(st.integers(1, 255))
        bent = data.draw(st.sampled_from([bytes(packet), bytes(packet[:-1]), packets[other], b""]))
        packets[index] = bent or b"\0"
    decodes(PacketDecoder(profile), packets)


@given(profiles, st.integers(0, 2**32), st.integers(20, 500))
@settings(max_examples=300, deadline=None)
def test_what_a_sensor_sends_is_what_is_read(profile, sequence, packet_bytes):
    """Any sensor, any counter to begin with: within half a count, in place, nothing missing."""
    count = 150
    gyro, accel, ticks = motion(profile, count)
    least = PacketDecoder(profile)
    need = max(layout.length_of(3) for layout in least.layouts)
    encoder = PacketEncoder(profile, packet_bytes=max(packet_bytes, need), sequence=sequence)
    sent = encoder.encode(gyro, accel, ticks) + encoder.flush()
    read = PacketDecoder(profile).decode([packet.payload for packet in sent])
    n = len(read)
    assert n >= count - 2
    gyro_count, accel_count = one_count(profile)
    assert np.abs(read.gyro - gyro[:n]).max() <= 0.5001 * gyro_count
    assert np.abs(read.accel - accel[:n]).max() <= 0.5001 * accel_count
    assert np.array_equal(read.number, np.arange(n))
    assert read.lost_before == 0
    if profile.tick:
        assert np.abs(read.ticks - ticks[:n]).max() <= 1
    else:
        assert np.array_equal(read.ticks, np.arange(n))


@given(profiles, st.integers(1, 7))
@settings(max_examples=100, deadline=None)
def test_it_does_not_matter_how_many_packets_are_handed_over_at_once(profile, size):
    encoder = PacketEncoder(profile, packet_bytes=200, sequence=250)
    packets = [sent.payload for sent in encoder.encode(*motion(profile, 120))]
    whole = PacketDecoder(profile).decode(packets)
    decoder = PacketDecoder(profile)
    parts = [decoder.decode(packets[at : at + size]) for at in range(0, len(packets), size)]
    for name in ("number", "ticks", "gyro", "accel"):
        joined = np.concatenate([getattr(part, name) for part in parts])
        assert np.array_equal(joined, getattr(whole, name)), name
    assert not decoder.counts.faults


def test_every_fault_has_a_name_of_its_own():
    assert len({fault.value for fault in PacketFault}) == len(PacketFault)
