"""How each sensor sits on its segment, from standing still and one bow.

Standing gives the long axis (gravity), the bow gives the right axis (the axis it turns about).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis import rotation
from analysis.errors import CalibrationError
from analysis.integration import step_vectors
from analysis.quiet import running_mean
from analysis.results import Calibration, Flag, Interval, Mounting
from analysis.samples import Array, SampleTable, Segment

SHORTEST_S = 0.5
"""Less than this of standing or bowing cannot be judged."""
STAND_RATE = np.radians(10.0)
"""rad/s root mean square about its mean while standing; sway is 1 to 4 deg/s, a step far more."""
LEAST_BOW = np.radians(20.0)
"""A smaller bow lets sway turn the axis by several degrees."""
SQUARE_WITHIN = np.radians(15.0)
"""Bow axis against the horizontal of standing; standing 3 and bowing 5 degrees off stay within."""
STANCE_U = np.radians(3.0 / np.sqrt(3.0))
"""rad: people told to stand tall are within about 3 degrees of it (rectangular; common practice,
no source)."""
BOW_U = np.radians(5.0 / np.sqrt(3.0))
"""rad: and bow within about 5 degrees of straight ahead (rectangular; common practice, no
source)."""

_WORN = {Segment.PELVIS: "pelvis", Segment.UPPER_BACK: "upper-back"}


@dataclass(frozen=True, slots=True)
class _Bow:
    """axis (3,) right axis as the bow shows it, sensor axes; depth rad."""

    axis: Array
    depth: float
    spread_u: float


def worn_in_segment_axes() -> Calibration:
    """The mounting of a recording without stand and bow: sensor axes taken as segment axes."""
    identity = Mounting(rotation.IDENTITY.copy())
    flag = Flag(
        "uncalibrated",
        "No stand and bow: the sensors are taken as worn exactly in segment axes.",
    )
    return Calibration(identity, identity, calibrated=False, flags=(flag,))


def calibrate(
    pelvis: SampleTable,
    upper_back: SampleTable,
    stand: Interval,
    bow: Interval,
    *,
    from_s: float,
) -> Calibration:
    """Mountings from standing still during `stand` and bowing (and rising) during `bow`.

    Method: functional calibration as in Cutti et al. 2010, Med Biol Eng Comput 48:17-25.

    Raises CalibrationError: too little data, walked while standing, or a bow under 20 degrees.
    """
    mountings: list[Mounting] = []
    flags: list[Flag] = []
    for segment, samples in ((Segment.PELVIS, pelvis), (Segment.UPPER_BACK, upper_back)):
        mounting, found = mounting_from(samples, stand, bow, segment)
        mountings.append(mounting)
        flags.extend(found)
    return Calibration(mountings[0], mountings[1], from_s, calibrated=True, flags=tuple(flags))


def mounting_from(
    samples: SampleTable, stand: Interval, bow: Interval, segment: Segment
) -> tuple[Mounting, tuple[Flag, ...]]:
    """One sensor's mounting; see `calibrate`."""
    worn = _WORN[segment]
    standing = _stretch(samples, stand, worn, "standing")
    bowing = _stretch(samples, bow, worn, "bowing")
    bias = standing.gyro.mean(axis=0)
    sway = float(np.sqrt(np.mean(np.sum((standing.gyro - bias) ** 2, axis=1))))
    if sway > STAND_RATE:
        raise CalibrationError(
            f"The {worn} sensor turned at {np.degrees(sway):.0f} deg/s while standing; "
            f"at most {np.degrees(STAND_RATE):.0f} deg/s is still enough. "
            "Repeat: stand tall and still for three seconds, then bow."
        )
    up = standing.accel.mean(axis=0)
    up = up / np.linalg.norm(up)
    seen = _bow(bowing, bias, up)
    if seen.depth < LEAST_BOW:
        raise CalibrationError(
            f"The {worn} sensor saw a bow of {np.degrees(seen.depth):.0f} degrees; at least "
            f"{np.degrees(LEAST_BOW):.0f} are needed. Repeat: bow from the hips until the back is "
            "well over, then rise."
        )
    off_square = float(np.arcsin(abs(seen.axis @ up)))
    flags = _square_flags(off_square, worn)
    right = seen.axis - (seen.axis @ up) * up
    right = right / np.linalg.norm(right)
    # rows are the segment's axes in sensor axes, so the matrix takes sensor to segment
    turn = rotation.from_matrix(np.stack((np.cross(up, right), up, right)))
    return Mounting(turn, STANCE_U, float(np.hypot(BOW_U, seen.spread_u))), flags


def _stretch(samples: SampleTable, interval: Interval, worn: str, doing: str) -> SampleTable:
    part = samples.between(interval.start_s, interval.end_s)
    if len(part) < 10 or part.time_s[-1] - part.time_s[0] < SHORTEST_S:
        raise CalibrationError(
            f"The {worn} sensor has {len(part)} samples from {interval.start_s:.2f} s to "
            f"{interval.end_s:.2f} s ({doing}); at least {SHORTEST_S} s of samples are needed."
        )
    return part


def _bow(bowing: SampleTable, bias: Array, up: Array) -> _Bow:
    """Principal axis of the turning rate, signed so that bowing forward is a negative turn."""
    rate = bowing.gyro - bias
    values, vectors = np.linalg.eigh(rate.T @ rate)
    axis = vectors[:, -1]
    turned = np.concatenate(([0.0], np.cumsum(step_vectors(bowing.time_s, rate) @ axis)))
    start = running_mean(bowing.time_s, bowing.accel, 0.2)[0]
    lean = turned + _lean_about(axis, up, start)
    deepest = int(np.argmax(np.abs(lean)))
    spread_u = float(np.sqrt(max(values[1], 0.0) / values[-1])) / np.sqrt(len(bowing))
    return _Bow(axis * -np.sign(lean[deepest]), float(abs(lean[deepest])), spread_u)


def _lean_about(axis: Array, up: Array, now: Array) -> float:
    """How far the sensor is already turned about `axis` when gravity shows along `now`."""
    a, b = up - (up @ axis) * axis, now - (now @ axis) * axis
    # gravity seen from the sensor turns the other way
    return -float(np.arctan2(np.cross(a, b) @ axis, a @ b))


def _square_flags(off_square: float, worn: str) -> tuple[Flag, ...]:
    if off_square <= SQUARE_WITHIN:
        return ()
    return (
        Flag(
            "calibration_skewed",
            f"The bow's axis at the {worn} sensor is {np.degrees(off_square):.0f} degrees off "
            "level: the bow went to one side or the sensor slipped. Repeat the stand and bow.",
        ),
    )
