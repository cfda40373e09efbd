"""Whether a sensor still sits as it was calibrated, from the posture it shows at address.

A sensor that slipped since the stand and the bow shows a golfer who leans sideways, or bends as
nobody does: turned about the long axis, the bend forward of the address shows as a lean.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.error_causes import OFFSET_U, SQUARE_U
from analysis.kinematics import ORIENTATION, SegmentPath
from analysis.orientation import SegmentMotion
from analysis.results import Flag
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


def slip_flags(name: str, motion: SegmentMotion, path: SegmentPath, address_s: float) -> list[Flag]:
    """A flag 'slipped' where the posture of 'pelvis' or 'upper back' at address is not a golfer's.

    Only a slip that passes the limits can be told from posture: 10 to 20 degrees, as it adds to the
    golfer's own lean or takes from it. For a calibrated sensor.
    """
    lean, bend = lean_and_bend(path, address_s)
    lean_u, bend_u = posture_u(motion, bend)
    if _within(path.rates.sign * lean, LEAN[name], lean_u) and _within(bend, BEND[name], bend_u):
        return []
    side = "right" if lean > 0.0 else "left"
    text = (
        f"The {name} sensor shows {abs(np.degrees(lean)):.0f} degrees of lean to the {side} and "
        f"{np.degrees(bend):.0f} degrees of bend forward at address: it has slipped, or the stand "
        "and bow went wrong. Fix it and calibrate again."
    )
    return [Flag("slipped", text)]


def lean_and_bend(path: SegmentPath, time_s: float) -> tuple[float, float]:
    """Lean to the right and bend forward of a segment against upright at the first sample from a
    time on, rad."""
    row = min(int(path.curves.time_s.searchsorted(time_s)), path.curves.pieces.shape[2] - 1)
    w, x, y, z = path.curves.pieces[3, ORIENTATION, row].tolist()
    # heights of the segment's forward, upward and right axes
    forward, upward = 2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z)
    right = 2.0 * (y * z - w * x)
    return math.atan2(-right, upward), math.atan2(-forward, upward)


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
