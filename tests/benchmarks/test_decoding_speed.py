"""How much of a core the decoding of packets takes; prints a table (pytest -s)."""

from __future__ import annotations

import os
import platform
import struct
import time

import pytest

from sensors.packet_decode import PacketDecoder
from sensors.packet_encode import PacketEncoder
from sensors.profile_library import built_in_profiles
from tests.support.any_profile import motion

EACH = pytest.mark.parametrize("profile", built_in_profiles(), ids=lambda profile: profile.id)
SECONDS = 60


def packets_of(profile) -> list[bytes]:
    gyro, accel, ticks = motion(profile, int(SECONDS * profile.rate_hz))
    return [sent.payload for sent in PacketEncoder(profile).encode(gyro, accel, ticks)]


def told(what: str, figure: str) -> None:
    print(f"\n| {what} | {figure} | {platform.machine()}, {os.cpu_count()} cores |", end="")


def least_s(decode) -> float:
    """Processor time of the best of three, s: others share the machine."""
    times = []
    for _ in range(3):
        begin = time.process_time()
        decode()
        times.append(time.process_time() - begin)
    return min(times)


@EACH
def test_a_live_sensor_takes_a_hundredth_of_a_core(profile):
    """One notification at a time, as the radio hands them over."""
    stream = packets_of(profile)

    def decode() -> None:
        decoder = PacketDecoder(profile)
        assert sum(len(decoder.decode([packet])) for packet in stream) == decoder.counts.samples > 0

    took = least_s(decode)
    told(
        f"{profile.id}, one packet a call",
        f"{1e6 * took / len(stream):.1f} us a packet, {100 * took / SECONDS:.2f} % of a core",
    )
    assert took / SECONDS < 0.01


@EACH
def test_many_packets_at_once_are_faster(profile):
    stream = packets_of(profile)
    took = least_s(lambda: PacketDecoder(profile).decode(stream))
    told(
        f"{profile.id}, {len(stream)} packets a call",
        f"{1e6 * took / len(stream):.1f} us a packet, {SECONDS / took:.0f} times real time",
    )
    assert SECONDS / took > 300


def test_against_a_loop_over_the_standard_library():
    """The same values by struct, a sample at a time, without order or checks."""
    profile = built_in_profiles()[0]
    stream = packets_of(profile)
    sample = struct.Struct("<6h")

    def loop() -> None:
        for packet in stream:
            struct.unpack_from("<BBHI", packet)
            [[count * 0.001 for count in row] for row in sample.iter_unpack(packet[8:])]

    took, plain = least_s(lambda: PacketDecoder(profile).decode(stream)), least_s(loop)
    told("decoder against a plain loop", f"{1e3 * took:.1f} ms against {1e3 * plain:.1f} ms")
    assert took < 2.0 * plain
