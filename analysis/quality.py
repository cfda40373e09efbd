"""What a reader of a swing's numbers must know, and what keeps a swing out of averages."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis.filtering import CUTOFF_HZ, nominal_step_s
from analysis.kinematics import SegmentPath
from analysis.metrics import SwingMoments
from analysis.orientation import SegmentMotion
from analysis.results import Calibration, Flag, Handedness, Interval
from analysis.slip import slip_flags

SHORTEST_GAP_S = 0.012
"""A hole that is bridged unnoticed: two lost samples at 200 Hz, whose cubic bridge stays within
0.1 % of a peak."""
SHORTEST_CLIP_S = 0.025
"""Equal samples over a shorter time are a flat peak rather than the end of a range; a range cut
short by 1 % of a peak holds for some 40 ms."""
LARGEST_CLOCK_U_S = 0.005
"""One standard uncertainty of a sensor's clock above which leads and gaps mean little."""
LONGEST_UNQUIET_S = 1.5
"""Address that ended so long before the takeaway: the golfer moved in between."""
DWELL_U_S = 0.004
"""A reversal less certain than this is told as a dwell."""
TOLD_BY_SEGMENT = frozenset({"gap", "clipped", "no_quiet"})
"""Codes of a motion's own flags that are told anew here, for the swing alone and by segment."""
NOT_SPOILING = frozenset({"uncalibrated"})
"""Codes of a calibration that leave a swing usable: all of its swings share the same error."""


def swing_flags(
    motions: tuple[SegmentMotion, SegmentMotion],
    paths: tuple[SegmentPath, SegmentPath],
    moments: SwingMoments,
    clock_u_s: float,
    calibration: Calibration,
) -> tuple[Flag, ...]:
    """Flags of a swing whose moments were found, worst first."""
    names = ("pelvis", "upper back")
    needed = Interval(moments.address_s, moments.upper_back.peak_s + 0.05)
    flags = []
    for name, motion, path in zip(names, motions, paths, strict=True):
        flags += _sensor_flags(name, motion, needed)
        if calibration.calibrated:
            flags += slip_flags(name, motion, path, moments.address_s)
    flags += _address_flags(moments) + _clock_flags(clock_u_s)
    flags += calibration_flags(calibration)
    for name, motion, down in zip(
        names, motions, (moments.pelvis, moments.upper_back), strict=True
    ):
        flags += _dwell_flags(name, reversal_u_s(motion, down.reversal_slope))
    return _unique(flags)


def direction_flag(handedness: Handedness) -> Flag:
    """The swing goes the other way than the golfer's handedness says."""
    other = "left" if handedness is Handedness.RIGHT else "right"
    return Flag(
        "direction",
        f"Swung like a {other}-hander: check the golfer's handedness, and that no sensor is worn "
        "upside down.",
    )


def unreadable_flag(what: str) -> Flag:
    """A swing was seen, but its numbers could not be had."""
    return Flag("unreadable", f"No numbers: {what}.")


def calibration_flags(calibration: Calibration) -> list[Flag]:
    """Flags of the calibration in force, as the swing carries them."""
    return [replace(f, spoils=f.spoils and f.code not in NOT_SPOILING) for f in calibration.flags]


def reversal_u_s(motion: SegmentMotion, slope: float) -> float:
    """Standard uncertainty of a reversal, s: velocity noise and bias over angular acceleration.

    slope rad/s^2 at the reversal. Noise within the filter's band; bias about the long axis.
    """
    noise = motion.noise_density * math.sqrt(CUTOFF_HZ)
    velocity_u = math.hypot(noise, math.sqrt(motion.bias_covariance[1, 1]))
    return velocity_u / max(slope, 1e-6)


def _sensor_flags(name: str, motion: SegmentMotion, needed: Interval) -> list[Flag]:
    flags = []
    holes = [
        gap
        for gap in motion.gaps
        if gap.end_s > needed.start_s
        and gap.start_s < needed.end_s
        and gap.end_s - gap.start_s > SHORTEST_GAP_S
    ]
    if holes:
        lost_ms = 1000.0 * sum(gap.end_s - gap.start_s for gap in holes)
        flags.append(Flag("gap", f"The {name} sensor lost {lost_ms:.0f} ms within the swing."))
    first = int(motion.time_s.searchsorted(needed.start_s))
    last = int(motion.time_s.searchsorted(needed.end_s, side="right"))
    clipped = int(np.count_nonzero(motion.clipped[first:last]))
    if clipped and clipped * nominal_step_s(motion.time_s) >= SHORTEST_CLIP_S:
        flags.append(
            Flag("clipped", f"The {name} sensor was at the end of its range ({clipped} samples).")
        )
    if not motion.spells:
        flags.append(
            Flag("no_quiet", f"No quiet moment of the {name}: its bias and tilt are guesses.")
        )
    others = [flag for flag in motion.flags if flag.code not in TOLD_BY_SEGMENT]
    return flags + [replace(flag, text=f"{name.capitalize()}: {flag.text}") for flag in others]


def _address_flags(moments: SwingMoments) -> list[Flag]:
    if moments.moved_s <= LONGEST_UNQUIET_S:
        return []
    if not np.isfinite(moments.moved_s):
        return [Flag("unsteady", "There was no quiet address: zero is the takeaway.")]
    return [Flag("unsteady", f"Address was not quiet in the last {moments.moved_s:.1f} s.")]


def _clock_flags(clock_u_s: float) -> list[Flag]:
    if clock_u_s <= LARGEST_CLOCK_U_S:
        return []
    text = (
        f"Sensor clocks are known to {1000.0 * clock_u_s:.0f} ms only: leads and gaps mean little."
    )
    return [Flag("clock", text)]


def _dwell_flags(name: str, time_u_s: float) -> list[Flag]:
    if time_u_s <= DWELL_U_S:
        return []
    text = f"The {name} dwells at its reversal: its time is known to {1000.0 * time_u_s:.0f} ms."
    return [Flag("dwell", text, spoils=False)]


def _unique(flags: list[Flag]) -> tuple[Flag, ...]:
    """First flag of each code in order; texts of one code put together."""
    texts: dict[str, Flag] = {}
    for flag in flags:
        known = texts.get(flag.code)
        if known is None:
            texts[flag.code] = flag
        elif flag.text not in known.text:
            texts[flag.code] = replace(
                known, text=f"{known.text} {flag.text}", spoils=known.spoils or flag.spoils
            )
    return tuple(sorted(texts.values(), key=lambda flag: not flag.spoils))
