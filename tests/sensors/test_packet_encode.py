"""Packets as a firmware would make them."""

import numpy as np
import pytest

from sensors.errors import SimulationError
from sensors.packet_encode import PacketEncoder
from sensors.profile_file import parse_profile
from sensors.profile_library import built_in_profiles
from tests.support.any_profile import motion
from tests.support.profile_text import SMALL

OURS, KIT = built_in_profiles()


@pytest.mark.parametrize(("packet_bytes", "samples"), [(20, 1), (182, 14), (244, 19), (509, 41)])
def test_a_notification_is_filled_as_far_as_the_mtu_goes(packet_bytes, samples):
    encoder = PacketEncoder(OURS, packet_bytes=packet_bytes)
    assert encoder.samples_per_packet == samples
    (first, *_) = encoder.encode(*motion(OURS, 100))
    assert len(first.payload) == 8 + 12 * samples <= packet_bytes
    assert (first.first, first.samples) == (0, samples)


def test_it_does_not_matter_how_the_samples_are_handed_over():
    gyro, accel, ticks = motion(OURS, 500)
    whole = PacketEncoder(OURS)
    at_once = whole.encode(gyro, accel, ticks) + whole.flush()
    encoder, parts = PacketEncoder(OURS), []
    for at in range(0, 500, 7):
        parts += encoder.encode(gyro[at : at + 7], accel[at : at + 7], ticks[at : at + 7])
    assert parts + encoder.flush() == at_once
    assert sum(packet.samples for packet in at_once) == 500


def test_packets_of_one_size_are_never_sent_short():
    profile = parse_profile(SMALL.replace('samples = "fill"', "samples = 8"))
    encoder = PacketEncoder(profile)
    assert len(encoder.encode(*motion(profile, 20))) == 2
    assert encoder.flush() == []


def test_what_cannot_be_sent_is_refused():
    with pytest.raises(SimulationError, match="only 10 can be sent"):
        PacketEncoder(KIT, packet_bytes=10)
    with pytest.raises(SimulationError, match="sends ticks"):
        PacketEncoder(OURS).encode(np.zeros((1, 3)), np.zeros((1, 3)))
    with pytest.raises(SimulationError, match="as many of each"):
        PacketEncoder(KIT).encode(np.zeros((2, 3)), np.zeros((1, 3)))
