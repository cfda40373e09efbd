"""Built-in profiles against what others have published: makers' layouts and assigned numbers.

Development kit: Nordic Thingy:52 firmware documentation v2.2.0, page "Firmware architecture": the
table of the motion service (UUIDs, field order, types, fixed-point formats, limits of the
configuration). Battery: Bluetooth SIG Assigned Numbers (Battery Service 0x180F, Battery Level
0x2A19) and Battery Service 1.0 (uint8, percent). Base UUID: Bluetooth Core Specification, volume 3
part B, 2.5.1. Standard gravity: NIST SP 330.
"""

import struct

import numpy as np
import pytest

from sensors.packet_decode import PacketDecoder
from sensors.profile_library import built_in_profiles

OURS, KIT = built_in_profiles()
KIT_BASE = "ef68{:04x}-9b35-4933-9b10-52ffa9740042"
BATTERY_LEVEL = "00002a19-0000-1000-8000-00805f9b34fb"
STANDARD_GRAVITY = 9.80665


def raw_data(accel_g, gyro_dps, compass_ut) -> bytes:
    """18 bytes, int16 little endian: accelerometer 6Q10 g, gyroscope 11Q5 deg/s, compass 12Q4 uT.

    Qm.n: the integer is the value times 2 to the power of n.
    """
    fixed = [round(v * 2**q) for values, q in ((accel_g, 10), (gyro_dps, 5), (compass_ut, 4))
             for v in values]  # fmt: skip
    return struct.pack("<9h", *fixed)


def test_the_kits_characteristics_are_those_of_its_motion_service():
    assert KIT.recognise.services == (KIT_BASE.format(0x0400),)
    assert KIT.notify_characteristics == (KIT_BASE.format(0x0406),)
    assert [write.characteristic for write in KIT.start] == [KIT_BASE.format(0x0401)]


@pytest.mark.parametrize("profile", [OURS, KIT], ids=lambda profile: profile.id)
def test_the_battery_level_is_the_assigned_one(profile):
    assert profile.battery.characteristic == BATTERY_LEVEL


@pytest.mark.parametrize(
    ("accel_g", "gyro_dps"),
    [
        ((0.0, 0.0, 1.0), (0.0, 0.0, 0.0)),
        ((-1.5, 0.25, 15.0), (512.5, -1000.0, 0.03125)),
        ((1 / 1024, -1 / 1024, -16.0), (-1024.0, 1023.96875, -0.5)),
    ],
)
def test_the_kits_raw_data_are_read_as_published(accel_g, gyro_dps):
    payload = raw_data(accel_g, gyro_dps, (20.0, -30.5, 40.0))
    assert len(payload) == 18
    samples = PacketDecoder(KIT).decode([payload], KIT_BASE.format(0x0406))
    assert np.degrees(samples.gyro) == pytest.approx(np.array([gyro_dps]), abs=1e-9)
    assert samples.accel / STANDARD_GRAVITY == pytest.approx(np.array([accel_g]), abs=1e-9)


def test_the_kits_configuration_is_within_the_published_limits():
    (write,) = KIT.start
    assert len(write.bytes) == 9
    step, temperature, compass, motion, wake = struct.unpack("<HHHHB", write.bytes)
    assert 100 <= step <= 5000
    assert 100 <= temperature <= 5000
    assert 100 <= compass <= 1000
    assert 5 <= motion <= 200
    assert motion == KIT.rate_hz
    assert wake in (0, 1)


def test_the_kit_sends_neither_counter_nor_clock():
    (packet,) = KIT.packet
    assert packet.header == ()
    assert KIT.tick_s is None


def test_the_open_sensor_suits_golf_swings():
    """Peak trunk speeds of golfers lie below 1000 deg/s; 200 Hz (common practice, no source)."""
    assert OURS.gyro_range_dps >= 1000.0
    assert OURS.rate_hz >= 200.0
    assert OURS.tick_s <= 0.001
    (packet,) = OURS.packet
    assert {type(field).__struct_config__.tag for field in packet.header} >= {"sequence", "tick"}


def test_the_open_sensors_packet_read_by_the_standard_library_gives_the_same():
    """README's layout in struct's notation, against the decoder."""
    rng = np.random.default_rng(3)
    values = rng.integers(-32768, 32768, (19, 6))
    head = struct.pack("<BBHI", 1, 19, 513, 70_000)
    payload = head + b"".join(struct.pack("<6h", *row) for row in values.tolist())
    assert len(payload) == 236
    samples = PacketDecoder(OURS).decode([payload])
    assert np.degrees(samples.gyro) == pytest.approx(values[:, :3] * 2000 / 32768)
    assert samples.accel == pytest.approx(values[:, 3:] * 16 / 32768 * STANDARD_GRAVITY)
    assert samples.ticks == pytest.approx(70_000 + np.arange(19) * 32768 / 200, abs=0.5)
