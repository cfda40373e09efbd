"""Whether a sensor still sits as it was calibrated, from the posture it shows at address.

A sensor that slipped since the stand and the bow shows a golfer who leans sideways, or bends as
nobody does: turned about the long axis, the bend forward of the address shows as a lean.
"""

from __future__ import annotations

import numpy as np

from analysis import rotation
from analysis.orientation import SegmentMotion
from analysis.results import Flag
from analysis.samples import Array

LARGEST_LEAN = np.radians(13.0)
"""rad to either side at address. Golfers lean by up to some 8 degrees (the trail shoulder is lower
as the trail hand is), and a stand 3 and a bow 5 degrees off add up to 5; own estimate."""
BEND: dict[str, tuple[float, float]] = {
    "pelvis": (float(np.radians(-8.0)), float(np.radians(45.0))),
    "upper back": (float(np.radians(5.0)), float(np.radians(70.0))),
}
"""rad forward at address, least and most, against upright standing; own estimate."""
_UP: Array = np.array([0.0, 1.0, 0.0])


def slip_flags(name: str, motion: SegmentMotion, address_s: float) -> list[Flag]:
    """A flag 'slipped' where the posture of 'pelvis' or 'upper back' at address is not a golfer's.

    Only a slip that passes the limits can be told from posture: 10 to 20 degrees, as it adds to
    the golfer's own lean or takes from it. For a calibrated sensor.
    """
    lean, bend = lean_and_bend(motion, address_s)
    least, most = BEND[name]
    if abs(lean) <= LARGEST_LEAN and least <= bend <= most:
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
    up = rotation.rotate(rotation.conjugate(motion.orientation[row]), _UP)
    return float(np.arctan2(-up[2], up[1])), float(np.arctan2(-up[0], up[1]))
