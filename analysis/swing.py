"""One swing from the samples of its window: the only way to its numbers, live and stored."""

from __future__ import annotations

import math

import numpy as np

from analysis import rotation
from analysis.columns import METRIC_NAMES
from analysis.errors import AnalysisError
from analysis.events import (
    PEAK_WITHIN_S,
    PELVIS_AFTER_S,
    PELVIS_BEFORE_S,
    AxialCurve,
    downswing,
    takeaway,
)
from analysis.impact import find_impact
from analysis.kinematics import (
    Postures,
    Rates,
    SegmentPath,
    common_times,
    filtered_rates,
    segment_path,
    target_sign,
    untwisted,
)
from analysis.metrics import (
    SwingMoments,
    search_times,
    separation,
    swing_events,
    swing_metrics,
)
from analysis.orientation import SegmentMotion, segment_motions
from analysis.quality import calibration_flags, direction_flag, swing_flags, unreadable_flag
from analysis.results import Calibration, Curves, GolferFacts, Interval, Swing
from analysis.samples import Array, SampleTable
from analysis.segmentation import anchor_s
from analysis.uncertainty import SwingReading, column_uncertainty

RATES_BEFORE_S = (4.5, 7.5)
"""Rates are filtered from so long before the anchor: LONGEST_DOWN_S and the turn away before the
takeaway; where the address lies further back, ADDRESS_BEFORE_S before that."""
RATES_MARGIN_S = 0.5
"""And begin at least so long before the address."""
ADDRESS_BEFORE_S = 3.0
"""A quiet spell that ended longer than this before the takeaway is not this swing's address."""
LONGEST_HOLE_S = 0.1
"""Without samples for longer, how a segment moved is not known: 10 degrees at 100 deg/s."""
BREAK_BEFORE_S, BREAK_AFTER_S = 2.5, 0.3
"""Holes so long before or after the anchor are not in the swing: what is beyond them is left."""
CURVES_BEFORE_S = 0.3
"""Curves start so long before the address."""
LEAST_SAMPLES = 30
"""Fewer samples of a sensor within the path cannot show a swing."""


class _UnreadableError(AnalysisError):
    """Why a swing's numbers could not be had."""


def analyse_swing(
    tables: tuple[SampleTable, SampleTable],
    window: Interval,
    number: int,
    calibration: Calibration,
    golfer: GolferFacts,
    *,
    scale_u: tuple[Array | None, Array | None] = (None, None),
) -> Swing:
    """The swing of a window, from the samples within it; other samples do not matter.

    tables: pelvis, upper back. scale_u: of each gyro's scale, relative, about its axes (3,), where
    it was measured and put right. A window whose swing cannot be read gives a swing without numbers
    and a flag that says why.
    """
    # memory of its own, so that results cannot depend on where the samples came from
    pelvis, upper_back = (t.between(window.start_s, window.end_s).copied() for t in tables)
    try:
        return _analyse((pelvis, upper_back), window, number, calibration, golfer, scale_u)
    except _UnreadableError as error:
        flags = (unreadable_flag(str(error)), *calibration_flags(calibration))
        return Swing(number, window, {}, dict.fromkeys(METRIC_NAMES), flags=flags)


def _analyse(  # noqa: PLR0917 - as `analyse_swing`
    tables: tuple[SampleTable, SampleTable],
    window: Interval,
    number: int,
    calibration: Calibration,
    golfer: GolferFacts,
    scale_u: tuple[Array | None, Array | None],
) -> Swing:
    at_s = anchor_s(window)
    pelvis, upper_back = (_unbroken(samples, at_s) for samples in tables)
    longest = Interval(at_s - max(RATES_BEFORE_S), window.end_s)
    motions = _motions((pelvis, upper_back), longest, calibration)
    sign = _direction(motions[1], at_s)
    rates, moments = _rates_and_moments(motions, sign, at_s, window.end_s)
    curves = (rates[0].axial, rates[1].axial)
    paths = _paths(motions, rates, Interval(moments.address_s, window.end_s))
    searched_s, drawn_s = search_times(moments), _drawn_times(paths, moments.address_s)
    postures = Postures.at(paths, np.concatenate((searched_s, drawn_s)))
    apart = separation(postures.rows(slice(searched_s.size)))
    drawn = postures.rows(slice(searched_s.size, None))
    metrics = swing_metrics(curves, moments, apart, golfer)
    clock_u_s = (pelvis.time_u_s, upper_back.time_u_s)
    reading = SwingReading(
        motions, paths, moments, apart, metrics, clock_u_s, calibration.calibrated, scale_u
    )
    uncertainty = column_uncertainty(reading)
    flags = swing_flags(motions, paths, moments, math.hypot(*clock_u_s), calibration)
    if sign != target_sign(golfer.handedness):
        flags = (direction_flag(golfer.handedness), *flags)
    return Swing(
        number,
        window,
        swing_events(moments, apart),
        metrics,
        uncertainty.total,
        flags,
        _curves(drawn, moments.address_s),
        uncertainty.lasting,
    )


def _motions(
    tables: tuple[SampleTable, SampleTable], needed: Interval, calibration: Calibration
) -> tuple[SegmentMotion, SegmentMotion]:
    for name, samples in zip(("pelvis", "upper back"), tables, strict=True):
        if len(samples.between(needed.start_s, needed.end_s)) < LEAST_SAMPLES:
            raise _UnreadableError(f"the {name} sensor sent next to nothing")
    pelvis, upper_back = segment_motions(tables, (calibration.pelvis, calibration.upper_back))
    return pelvis, upper_back


def _paths(
    motions: tuple[SegmentMotion, SegmentMotion], rates: list[Rates], since_address: Interval
) -> tuple[SegmentPath, SegmentPath]:
    around = Interval(since_address.start_s - CURVES_BEFORE_S, since_address.end_s)
    pelvis, upper_back = (
        segment_path(motion, rate, around, since_address.start_s)
        for motion, rate in zip(motions, rates, strict=True)
    )
    return untwisted(pelvis, upper_back)


def _unbroken(samples: SampleTable, at_s: float) -> SampleTable:
    """The samples around a swing up to the nearest long holes on either side of it.

    Nothing can be carried over a hole in which the golfer may have turned by any angle.
    """
    steps_s = samples.time_s[1:] - samples.time_s[:-1]
    if not (steps_s > LONGEST_HOLE_S).any():
        return samples
    holes = np.flatnonzero(steps_s > LONGEST_HOLE_S)
    ends, starts = samples.time_s[holes + 1], samples.time_s[holes]
    before, after = ends[ends < at_s - BREAK_BEFORE_S], starts[starts > at_s + BREAK_AFTER_S]
    first_s = float(before[-1]) if before.size else -np.inf
    last_s = float(after[0]) if after.size else np.inf
    first = int(np.searchsorted(samples.time_s, first_s, side="left"))
    last = int(np.searchsorted(samples.time_s, last_s, side="right"))
    return samples.rows(first, last)


def _direction(upper_back: SegmentMotion, at_s: float) -> float:
    """+1 where the downswing at a time turns to the left, -1 where to the right."""
    first = int(upper_back.time_s.searchsorted(at_s - PEAK_WITHIN_S))
    last = int(upper_back.time_s.searchsorted(at_s + PEAK_WITHIN_S, side="right"))
    axial = upper_back.angular_velocity[first:last, 1]
    if not axial.size:
        raise _UnreadableError("the upper back's downswing was lost")
    return math.copysign(1.0, axial[np.abs(axial).argmax()])


def _rates_and_moments(
    motions: tuple[SegmentMotion, SegmentMotion], sign: float, at_s: float, end_s: float
) -> tuple[list[Rates], SwingMoments]:
    """Filtered rates as far back as the address needs, and what they show."""
    for before_s in RATES_BEFORE_S:
        stretch = Interval(at_s - before_s, end_s)
        rates = [filtered_rates(motion, stretch, sign) for motion in motions]
        moments = _moments(motions, (rates[0].axial, rates[1].axial), at_s)
        if moments.address_s - RATES_MARGIN_S >= stretch.start_s:
            break
    return rates, moments


def _moments(
    motions: tuple[SegmentMotion, SegmentMotion],
    curves: tuple[AxialCurve, AxialCurve],
    at_s: float,
) -> SwingMoments:
    pelvis, upper_back = curves
    upper_down = downswing(upper_back, at_s - PEAK_WITHIN_S, at_s + PEAK_WITHIN_S)
    if upper_down is None:
        raise _UnreadableError("the upper back shows no reversal before its peak speed")
    peak_s = upper_down.peak_s
    pelvis_down = downswing(pelvis, peak_s - PELVIS_BEFORE_S, peak_s + PELVIS_AFTER_S)
    if pelvis_down is None:
        raise _UnreadableError("the pelvis shows no reversal before its peak speed")
    takeaway_s = takeaway(upper_back, upper_down.reversal_s)
    quiet_s = _last_quiet(motions, takeaway_s)
    first_s = max(float(curve.time_s[0]) for curve in curves)
    force = [(motion.time_s, motion.specific_force) for motion in motions]
    return SwingMoments(
        max(takeaway_s if quiet_s is None else quiet_s, first_s),
        takeaway_s,
        np.inf if quiet_s is None else takeaway_s - quiet_s,
        pelvis_down,
        upper_down,
        find_impact(force[0], force[1], peak_s),
    )


def _last_quiet(motions: tuple[SegmentMotion, SegmentMotion], takeaway_s: float) -> float | None:
    """End of the last spell before the takeaway in which both segments were quiet, s.

    None where it ended more than ADDRESS_BEFORE_S earlier.
    """
    ends = [
        max(
            (min(spell.end_s, takeaway_s) for spell in motion.spells if spell.start_s < takeaway_s),
            default=-np.inf,
        )
        for motion in motions
    ]
    return min(ends) if min(ends) >= takeaway_s - ADDRESS_BEFORE_S else None


def _drawn_times(paths: tuple[SegmentPath, SegmentPath], address_s: float) -> Array:
    axial = (paths[0].rates.axial, paths[1].rates.axial)
    first_s = max(float(path.curves.time_s[0]) for path in paths)
    return common_times(axial, max(first_s, address_s - CURVES_BEFORE_S))


def _curves(postures: Postures, address_s: float) -> Curves:
    turns, joint = rotation.unwrap(postures.turn.T).T, rotation.unwrap(postures.joint)
    joint = joint - np.interp(address_s, postures.times, joint)
    pelvis, upper_back = np.degrees(turns)
    velocity = np.degrees(postures.axial())
    return Curves(
        postures.times,
        pelvis,
        upper_back,
        pelvis - upper_back,
        np.degrees(joint),
        velocity[0],
        velocity[1],
    )
