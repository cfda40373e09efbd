"""What is known beforehand of each cause of error: one standard uncertainty each (GUM 4.3, type B).

The population that these figures describe: people who stand up to 3 degrees off upright, evenly
over a disc, and bow up to 5 degrees off straight, both segments together; sensors of which every
other one rides on soft tissue with 8 to 12 Hz, damping 0.10 to 0.25; scale within 0.5 % and
accelerometer offset of 0.03 m/s^2; golfers whose shoulders at address are some 5 degrees off
square to their hips. Bias, its certainty and the vertical's come from the samples themselves.

Riding moves every reading the same way, and half of the sensors are not moved at all, so where
nothing is said of what holds a sensor it is not corrected; its mean effect counts in full beside
its spread (JCGM 100:2008, F.2.4.5). Said to be strapped on, a sensor has its mean ride undone; what
that leaves of each spring counts the same way. On a plate it does not ride.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis.calibration import BOW_U
from analysis.orientation import SegmentMotion
from analysis.results import Fixing
from analysis.samples import Array
from analysis.segment_effects import (
    BIAS,
    CAUSES,
    CLOCK,
    LEVEL,
    MOUNTING,
    OFFSET,
    RIDE,
    RIDES,
    SCALE,
    SLEW,
)
from analysis.vertical_model import STANDARD_GRAVITY

SCALE_U = 0.005 / np.sqrt(3.0)
"""Relative, each axis: within 0.5 % (rectangular), as after a scale calibration. A part as it
comes is only specified to within 3 % (PS-MPU-6000A-00, 6.1)."""
OFFSET_U = 0.03
"""m/s^2: what is left after the maker's calibration (own estimate; parts as they come are specified
to 0.4 to 0.6 m/s^2)."""
RIDING_SHARE = 0.5
"""How many sensors ride on soft tissue (own assumption; no published share)."""
RIDING_SHARES = {
    Fixing.UNKNOWN: (RIDING_SHARE, RIDING_SHARE),
    Fixing.STRAPPED: (1.0, 1.0),
    Fixing.RIGID: (0.0, 0.0),
}
"""Sensors that ride, as they count for the spread of rides and for the mean ride left in."""
UNCALIBRATED_U = np.radians(10.0)
"""rad, each axis: a sensor put on by eye in the segment's axes (own estimate)."""
SQUARE_U = np.radians(5.0)
"""rad: heading of the shoulders against the hips at address (own estimate); two sensors without a
magnetometer cannot see it, and it bends the axes of the spine joint."""
ADDRESS_U_S = 0.009
"""s: of the end of the address, whose threshold stands just above the sway of an address."""
TAKEAWAY_U_S = 0.0003
"""s: of a takeaway beside what its crossing tells (own estimate)."""
INERTIA_U = 0.15
"""Relative: a segment's moment of inertia from tables of mean bodies (own estimate; the tables
give no spread for the single body)."""

_OWN = 2 * CAUSES
BOW, RIDING, SQUARE, ADDRESS, TAKEAWAY, IMPACT, INERTIA = range(_OWN, _OWN + 7)
"""Causes that are not one segment's own: the bow off straight, the mean effect of riding, shoulders
off square, the end of address, the takeaway, impact, inertia."""
RIVAL = {"separation": INERTIA + 1, "joint_separation": INERTIA + 2}
RIVAL_TIME = INERTIA + 3
"""Another maximum of a separation may be the true greatest."""
NOISE = INERTIA + 4
NOISES = 16
"""From NOISE on: white noise where a curve is read, one cause a reading."""
TOTAL = NOISE + NOISES
_EACH = np.arange(CAUSES)
_FROM_MEAN: Array = np.eye(len(RIDES)) - 1.0 / len(RIDES)


def mixing(
    number: int,
    motion: SegmentMotion,
    clock_u_s: float,
    *,
    calibrated: bool,
    scale_u: Array | None = None,
) -> Array:
    """How a segment's causes add up to independent ones: effects (CAUSES,) of one unit each @
    mixing (CAUSES, TOTAL) -> (TOTAL,) of one standard uncertainty each.

    number: 0 for the pelvis, 1 for the upper back. scale_u (3,): in the place of SCALE_U.
    """
    tilt_u, heading_u = motion.mounting.tilt_u_rad, motion.mounting.heading_u_rad
    bow_u = min(BOW_U, heading_u)
    sizes = np.zeros(CAUSES)
    sizes[MOUNTING] = (tilt_u, math.sqrt(max(heading_u**2 - bow_u**2, 0.0)), tilt_u)
    if not calibrated:
        sizes[MOUNTING], bow_u = UNCALIBRATED_U, 0.0
    sizes[SCALE] = SCALE_U if scale_u is None else scale_u
    sizes[BIAS], sizes[SLEW], sizes[LEVEL] = 1.0, 1.0, motion.tilt_u_rad
    sizes[OFFSET], sizes[CLOCK] = OFFSET_U / STANDARD_GRAVITY, clock_u_s
    matrix = np.zeros((CAUSES, TOTAL))
    matrix[_EACH, _EACH + number * CAUSES] = sizes
    # each point's difference from the mean of all, and that mean as a cause of both segments
    weight, (spread, mean) = 1.0 / len(RIDES), RIDING_SHARES[motion.mounting.fixing]
    own = slice(number * CAUSES + RIDE.start, number * CAUSES + RIDE.stop)
    matrix[RIDE, own] = math.sqrt(spread * weight) * _FROM_MEAN
    matrix[RIDE, RIDING] = math.sqrt(mean) * weight
    matrix[MOUNTING.start + 1, BOW] = bow_u
    return matrix


def lasting() -> npt.NDArray[np.bool_]:
    """Which causes (TOTAL,) are the same for all swings of one calibration and others for the next:
    how the sensors sit and ride, what their offset did to the stand, their clocks' fits.

    Scale, shoulders off square, impact from the torso and inertia stay for good: they cancel where
    swings of one golfer and the same sensors are compared.
    """
    same = np.zeros(TOTAL, dtype=np.bool_)
    for number in (0, 1):
        for part in (MOUNTING, OFFSET, RIDE, slice(CLOCK, CLOCK + 1)):
            same[number * CAUSES + part.start : number * CAUSES + part.stop] = True
    same[[BOW, RIDING]] = True
    return same
