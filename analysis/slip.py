"""Whether a sensor still sits as it was calibrated, from the posture it shows at address.

A sensor that slipped since the stand and the bow shows a golfer who leans sideways, or bends as
nobody does: turned about the long axis, the bend forward of the address shows as a lean.
"""

from __future__ import annotations

import math

import numpy as np

from analysis import rotation
from analysis.error_causes import OFFSET_U, SQUARE_U
from analysis.orientation import SegmentMotion
from analysis.results import Flag
from analysis.samples import Array
from analysis.vertical_model import STANDARD_GRAVITY

LEAN: dict[str, tuple[float, float]] = {
    "pelvis": (float(np.radians(-4.0)), float(np.radians(8.0))),
    "upper back": (float(np.radians(-2.0)), float(np.radians(10.0))),
}
"""rad of a golfer's own lean at address, least and most, toward the trail side, whose shoulder is
lower as the trail hand is; own estimate."""
BEND: dict[str, tuple[float, float]] = {
    "pelvis": (float(np.radians(-5.0)), float(np.radians(42.0))),
    "upper back": (float(np.radians(8.0)), float(np.radians(67.0))),
}
"""rad of a golfer's own bend forward at address, least and most; own estimate."""
CERTAIN = 2.0
"""Standard uncertainties by which a posture must pass those limits, chosen on 300 simulated
sessions; of 400 others (seeds from 32 000) whose sensors had not slipped, none passed."""
MOST_BENT = math.radians(60.0)
"""rad of bend beyond which the share of it that may show as a lean grows no more."""
_UP: Array = np.array([0.0, 1.0, 0.0])


def slip_flags(name: str, motion: SegmentMotion, address_s: float, sign: float) -> list[Flag]:
    """A flag 'slipped' where the posture of 'pelvis' or 'upper back' at address is not a golfer's.

    sign +1 where toward the target is to the left. Only a slip that passes the limits can be told
    from posture: 10 to 20 degrees, as it adds to the golfer's own lean or takes from it. For a
    calibrated sensor.
    """
    lean, bend = lean_and_bend(motion, address_s)
    lean_u, bend_u = posture_u(motion, bend)
    if _within(sign * lean, LEAN[name], lean_u) and _within(bend, BEND[name], bend_u):
        return []
    side = "right" if lean > 0.0 else "left"
    text = (
        f"The {name} sensor shows {abs(np.degrees(lean)):.0f} degrees of lean to the {side} and "
        f"{np.degrees(bend):.0f} degrees of bend forward at address: it has slipped, or the stand "
        "and bow went wrong. Fix it and calibrate again."
    )
    return [Flag("slipped", text)]


def lean_and_bend(motion: SegmentMotion, time_s: float) -> tuple[float, float]:
    """Lean to the right and bend forward of a segment against upright at a time, rad."""
    row = min(int(np.searchsorted(motion.time_s, time_s)), motion.time_s.size - 1)
    up = rotation.rotate(rotation.conjugate(motion.oriented(slice(row, row + 1))[0]), _UP)
    return float(np.arctan2(-up[2], up[1])), float(np.arctan2(-up[0], up[1]))


def posture_u(motion: SegmentMotion, bend: float) -> tuple[float, float]:
    """Standard uncertainties of lean and bend, rad, of a sensor that sits as calibrated.

    Both have those of the stand and of the vertical. What the bow was off straight, and a turn of
    the segment out of the direction in which it bends, make a share of the bend a lean.
    """
    mounting = motion.mounting
    upright_u = math.hypot(mounting.tilt_u_rad, motion.tilt_u_rad, OFFSET_U / STANDARD_GRAVITY)
    turned_u = math.hypot(mounting.heading_u_rad, SQUARE_U)
    share = math.tan(min(abs(bend), MOST_BENT))
    return math.hypot(upright_u, share * turned_u), upright_u


def _within(angle: float, own: tuple[float, float], u: float) -> bool:
    least, most = own
    return least - CERTAIN * u <= angle <= most + CERTAIN * u
