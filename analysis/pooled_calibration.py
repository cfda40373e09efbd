"""Several stands and bows made one after the other, taken together as one calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis import rotation
from analysis.calibration import BOW_U, STANCE_U
from analysis.results import Calibration, Flag, Mounting
from analysis.samples import Array

HABIT = 0.5
"""Share of the variance of a stand or a bow that is the golfer's own and comes back with every
repeat, so that no number of repeats removes it (own estimate, no source)."""
APART = np.radians([6.0, 10.0, 6.0])
"""rad about forward, long and right axis, from the middle of all repeats: stands 3 and bows 5
degrees off, each its own way, stay well within; past it a sensor moved between two repeats."""


def pooled(repeats: Sequence[Calibration]) -> Calibration:
    """One calibration from repeats with the sensors worn the same way; in force from the earliest.

    The mountings are averaged as rotations (mean rotation vector about the first, repeated until it
    stands: Manton 2004, Proc ICARCV 3:2211-2216, from memory). Repeats with a doubt (a flag) are
    left out if there is one without. Standard uncertainties fall with the number of repeats down to
    the golfer's habit, and rise with the scatter of the repeats where that is larger than expected.

    Raises ValueError without a repeat. Flag calibration_scattered: repeats do not agree.
    """
    if not repeats:
        raise ValueError("expected at least one calibration")
    begin_s = min(one.from_s for one in repeats)
    taken = [one for one in repeats if not one.flags] or list(repeats)
    if len(taken) == 1:
        return replace(taken[0], from_s=begin_s)
    mountings: list[Mounting] = []
    flags = [flag for one in taken for flag in one.flags]
    for worn in ("pelvis", "upper_back"):
        mounting, off = _middle([getattr(one, worn) for one in taken])
        mountings.append(mounting)
        if np.any(np.abs(off) > APART):
            flags.append(_scattered(worn.replace("_", "-"), off))
    calibrated = all(one.calibrated for one in taken)
    once = tuple(dict.fromkeys(flags))
    return Calibration(mountings[0], mountings[1], begin_s, calibrated, once, len(taken))


def _middle(repeats: list[Mounting]) -> tuple[Mounting, Array]:
    """The mean mounting, and how far each repeat is off it (k, 3), rad, about segment axes."""
    turns = np.array([one.rotation for one in repeats])
    middle = turns[0]
    for _ in range(3):  # repeats are degrees apart: the error falls to rounding in three rounds
        off = rotation.to_rotation_vector(rotation.multiply(turns, rotation.conjugate(middle)))
        middle = rotation.multiply(rotation.from_rotation_vector(off.mean(axis=0)), middle)
    off = rotation.to_rotation_vector(rotation.multiply(turns, rotation.conjugate(middle)))
    scatter = np.sum(off * off, axis=0) / (len(off) - 1)
    tilt_u = _u(STANCE_U, float(scatter[[0, 2]].mean()), len(off))
    heading_u = _u(BOW_U, float(scatter[1]), len(off))
    # what the sensors added to a bow's axis, beyond the posture, is new each time
    read = [max(one.heading_u_rad**2 - BOW_U**2, 0.0) for one in repeats]
    heading_u = float(np.hypot(heading_u, np.sqrt(np.mean(read) / len(read))))
    return Mounting(rotation.normalise(middle), tilt_u, heading_u, repeats[0].fixing), off


def _u(one_u: float, scatter: float, n: int) -> float:
    """Standard uncertainty of the mean of n postures of standard uncertainty one_u, rad."""
    own = (1.0 - HABIT) * one_u**2
    return float(np.sqrt(HABIT * one_u**2 + max(own, scatter) / n))


def _scattered(worn: str, off: Array) -> Flag:
    widest = float(np.degrees(np.abs(off).max()))
    return Flag(
        "calibration_scattered",
        f"The repeats of the stand and bow do not agree: the {worn} sensor came out up to "
        f"{widest:.0f} degrees off their middle. See that it sits firmly, then repeat both.",
    )
