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
"""s; less than this of standing or bowing cannot be judged."""
FEWEST_SAMPLES = 10
STAND_RATE = np.radians(10.0)
"""rad/s root mean square about its mean while standing; sway is 1 to 4 deg/s, a step far more."""
STAND_LEAN = np.radians(3.0)
"""rad; a larger change of lean between the first and the last third is not standing still."""
LEAST_BOW = np.radians(20.0)
"""rad; in a smaller bow sway turns the axis by several degrees."""
STRAIGHT = np.tan(np.radians(20.0))
"""Root mean square rate across the bow's axis over that about it; a bow to one side passes it."""
SQUARE_WITHIN = np.radians(15.0)
"""rad, bow axis against level; standing 3 and bowing 5 degrees off stay well within."""
STANCE_U = np.radians(3.0 / 2.0)
"""rad, each axis: people told to stand tall are within about 3 degrees of it, in any direction
(even over a disc; common practice, no source)."""
BOW_U = np.radians(5.0 / np.sqrt(3.0))
"""rad: and bow within about 5 degrees of straight ahead (rectangular; common practice, no
source)."""
INDEPENDENT_S = 0.5
"""s; sway during a bow is independent from one such stretch to the next."""
AVERAGED_S = 0.2
"""s of accelerometer averaged for the lean at the start of the bow."""

_WORN = {Segment.PELVIS: "pelvis", Segment.UPPER_BACK: "upper-back"}


@dataclass(frozen=True, slots=True)
class _Bow:
    """What a bow shows: the right axis (3,) in sensor axes; its depth, rad; root mean square rate
    across the axis over that about it; standard uncertainty of the axis from that, rad."""

    axis: Array
    depth: float
    crooked: float
    axis_u: float


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

    The long axis is gravity while standing, the right axis the principal axis of the bow's angular
    velocity made square to it (functional calibration, as in Cutti et al. 2010, Med Biol Eng
    Comput 48:17-25; from memory). A bow is a negative turn about the right axis, which gives its
    sign; the sensors may sit at any angle.

    Raises CalibrationError: too little data, walked while standing, or a bow under 20 degrees.
    Doubts that leave a mounting are flags: stand_unsteady, bow_crooked, calibration_skewed.
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
    """One sensor's mounting and what is doubtful about it; see `calibrate`."""
    worn = _WORN[segment]
    standing = _stretch(samples, stand, worn, "standing")
    bowing = _stretch(samples, bow, worn, "bowing")
    bias = standing.gyro.mean(axis=0)
    up, flags = _long_axis(standing, bias, worn)
    seen = _bow(bowing, bias, up)
    if seen.depth < LEAST_BOW:
        raise CalibrationError(
            f"The {worn} sensor saw a bow of {np.degrees(seen.depth):.0f} degrees; at least "
            f"{np.degrees(LEAST_BOW):.0f} are needed. Repeat: bow from the hips until the back is "
            "well over, then rise."
        )
    right = seen.axis - (seen.axis @ up) * up
    right = right / np.linalg.norm(right)
    # rows are the segment's axes in sensor axes, so the matrix takes sensor to segment
    turn = rotation.from_matrix(np.stack((np.cross(up, right), up, right)))
    mounting = Mounting(turn, STANCE_U, float(np.hypot(BOW_U, seen.axis_u)))
    return mounting, (*flags, *_bow_flags(seen, up, worn))


def _stretch(samples: SampleTable, interval: Interval, worn: str, doing: str) -> SampleTable:
    part = samples.between(interval.start_s, interval.end_s)
    if len(part) < FEWEST_SAMPLES or part.time_s[-1] - part.time_s[0] < SHORTEST_S:
        raise CalibrationError(
            f"The {worn} sensor has {len(part)} samples from {interval.start_s:.2f} s to "
            f"{interval.end_s:.2f} s ({doing}); at least {SHORTEST_S} s of samples are needed."
        )
    return part


def _long_axis(standing: SampleTable, bias: Array, worn: str) -> tuple[Array, tuple[Flag, ...]]:
    """Unit vector of gravity while standing, sensor axes; raises when that was not standing."""
    sway = float(np.sqrt(np.mean(np.sum((standing.gyro - bias) ** 2, axis=1))))
    if sway > STAND_RATE:
        raise CalibrationError(
            f"The {worn} sensor turned at {np.degrees(sway):.0f} deg/s while standing; "
            f"at most {np.degrees(STAND_RATE):.0f} deg/s is still enough. "
            "Repeat: stand tall and still for three seconds, then bow."
        )
    up = standing.accel.mean(axis=0)
    third = len(standing) // 3
    lean = _angle(standing.accel[:third].mean(axis=0), standing.accel[-third:].mean(axis=0))
    flags: tuple[Flag, ...] = ()
    if lean > STAND_LEAN:
        text = (
            f"The {worn} leaned by {np.degrees(lean):.0f} degrees while standing: what is upright "
            "is not well known. Repeat: stand tall and still for three seconds, then bow."
        )
        flags = (Flag("stand_unsteady", text),)
    return up / np.linalg.norm(up), flags


def _angle(first: Array, second: Array) -> float:
    return float(np.arctan2(np.linalg.norm(np.cross(first, second)), first @ second))


def _bow(bowing: SampleTable, bias: Array, up: Array) -> _Bow:
    """Principal axis of the turning rate, signed so that bowing forward is a negative turn."""
    rate = bowing.gyro - bias
    values, vectors = np.linalg.eigh(rate.T @ rate)
    axis = vectors[:, -1]
    turned = np.concatenate(([0.0], np.cumsum(step_vectors(bowing.time_s, rate) @ axis)))
    start = running_mean(bowing.time_s, bowing.accel, AVERAGED_S)[0]
    lean = turned + _lean_about(axis, up, start)
    deepest = int(np.argmax(np.abs(lean)))
    crooked = float(np.sqrt(max(values[1], 0.0) / max(values[2], 1e-12)))
    stretches = max(float(bowing.time_s[-1] - bowing.time_s[0]) / INDEPENDENT_S, 1.0)
    return _Bow(
        axis * -np.copysign(1.0, lean[deepest]),
        float(abs(lean[deepest])),
        crooked,
        crooked / float(np.sqrt(stretches)),
    )


def _lean_about(axis: Array, up: Array, now: Array) -> float:
    """How far the sensor is already turned about `axis` when gravity shows along `now`, rad."""
    a, b = up - (up @ axis) * axis, now - (now @ axis) * axis
    # gravity seen from the sensor turns the other way
    return -float(np.arctan2(np.cross(a, b) @ axis, a @ b))


def _bow_flags(seen: _Bow, up: Array, worn: str) -> list[Flag]:
    flags = []
    if seen.crooked > STRAIGHT:
        text = (
            f"The {worn} turned or leaned sideways during the bow: what is straight ahead is not "
            "well known. Repeat the stand, then bow straight forward and rise."
        )
        flags.append(Flag("bow_crooked", text))
    off_level = float(np.arcsin(min(float(abs(seen.axis @ up)), 1.0)))
    if off_level > SQUARE_WITHIN:
        text = (
            f"The bow's axis at the {worn} sensor is {np.degrees(off_level):.0f} degrees off "
            "level: the bow went to one side or the sensor slipped. Repeat the stand and bow."
        )
        flags.append(Flag("calibration_skewed", text))
    return flags
