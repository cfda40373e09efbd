"""A small sound profile as text, and packets of it, to be bent by tests."""

from __future__ import annotations

import struct
from pathlib import Path

import sensors

PROFILES = Path(sensors.__file__).parent / "profiles"
SENSORS_README = Path(sensors.__file__).parent / "README.md"
OPEN_SENSOR = (PROFILES / "open-sensor.toml").read_text("utf-8")

SMALL = """\
format = 1
id = "small"
name = "Small sensor"
rate_hz = 100

[recognise]
names = ["Small"]

[[packet]]
name = "motion"
characteristic = "0a1b0003-0000-4000-8000-00000000c0de"
header = [
    { field = "sequence", type = "uint8" },
    { field = "tick", type = "uint16" },
]
samples = "fill"
sample = [{ field = "gyro", type = "int16" }, { field = "accel", type = "int16" }]

[tick]
period_s = 0.001

[gyro]
unit = "deg/s"
per_count = 0.1
range = 2000

[accel]
unit = "g"
per_count = 0.001
range = 16
"""


def small_packet(sequence: int, tick: int, samples: int = 2, value: int = 100) -> bytes:
    """A packet of SMALL: every sample turns at value * 0.1 deg/s about x, and rests with z up."""
    sample = struct.pack("<6h", value, 0, 0, 0, 0, 1000)
    return struct.pack("<BH", sequence % 256, tick % 65536) + samples * sample
