"""Units in which recordings and sensors give their values, and their factors to SI."""

from __future__ import annotations

import math
from typing import Final

STANDARD_GRAVITY_MPS2: Final = 9.80665
"""m/s^2, exact by definition: standard acceleration due to gravity, resolution 2 of the 3rd CGPM
(1901); repeated in ISO 80000-3 and in NIST SP 330."""

ANGULAR_VELOCITY_UNITS: Final[dict[str, float]] = {
    "rad/s": 1.0,
    "deg/s": math.pi / 180.0,
    "°/s": math.pi / 180.0,
}
"""Unit as BIDS writes it -> factor to rad/s."""

ACCELERATION_UNITS: Final[dict[str, float]] = {
    "m/s^2": 1.0,
    "m/s²": 1.0,
    "g": STANDARD_GRAVITY_MPS2,
}
"""Unit as BIDS writes it -> factor to m/s^2."""

TIME_UNITS: Final[dict[str, float]] = {"s": 1.0, "ms": 1e-3}
"""Unit as BIDS writes it -> factor to s."""
