"""What all swings under one calibration carry alike: how it may have put the sensors wrong.

The same swing is analysed with every mounting turned by one standard uncertainty to either side
about each axis of its segment; half the difference of a number is that cause's part (numerical
sensitivity, JCGM 100:2008, 5.1.3, note 2). Causes are independent and add in quadrature (5.1.2).
More swings do not lower this part; another calibration draws it anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from analysis import rotation
from analysis.results import Calibration, GolferFacts, Interval, Mounting, Swing
from analysis.samples import SampleTable, Segment
from analysis.scale_in_force import SegmentScale, put_right
from analysis.segmentation import anchor_s
from analysis.session import analyse_window, calibration_in_force

Numbers = dict[str, float]


def mounting_uncertainty(  # noqa: PLR0917 - as `analyse_window`
    pelvis: SampleTable,
    upper_back: SampleTable,
    swing: Swing,
    calibrations: list[Calibration],
    golfer: GolferFacts,
    scales: Sequence[SegmentScale] = (),
) -> Numbers:
    """One standard uncertainty of each number of a swing from the mountings alone.

    pelvis, upper_back: tables that hold the swing's window. Column -> in the column's unit; a
    number that an analysis lacks is left out. Empty without a calibration: how far worn sensors
    then sit off is not known.
    """
    calibration = calibration_in_force(calibrations, anchor_s(swing.window))
    if not calibration.calibrated:
        return {}
    tables = (
        put_right(pelvis, Segment.PELVIS, scales),
        put_right(upper_back, Segment.UPPER_BACK, scales),
    )
    parts = []
    for low, high in _turned(calibration):
        one, other = (_numbers(tables, swing.window, turned, golfer) for turned in (low, high))
        parts.append({name: 0.5 * (other[name] - one[name]) for name in one if name in other})
    shared = set.intersection(*(set(part) for part in parts))
    return {name: math.hypot(*(part[name] for part in parts)) for name in sorted(shared)}


def _turned(calibration: Calibration) -> Iterator[tuple[Calibration, Calibration]]:
    """The calibration with one mounting turned back and forth about one axis, for each of six."""
    for axis in range(3):
        low, high = (_turn(calibration.pelvis, axis, side) for side in (-1.0, 1.0))
        yield replace(calibration, pelvis=low), replace(calibration, pelvis=high)
        low, high = (_turn(calibration.upper_back, axis, side) for side in (-1.0, 1.0))
        yield replace(calibration, upper_back=low), replace(calibration, upper_back=high)


def _turn(mounting: Mounting, axis: int, side: float) -> Mounting:
    """The mounting off by one standard uncertainty about an axis of its segment."""
    reach = mounting.heading_u_rad if axis == 1 else mounting.tilt_u_rad
    turn = rotation.from_axis(axis, side * reach)
    return replace(mounting, rotation=rotation.multiply(turn, mounting.rotation))


def _numbers(
    tables: tuple[SampleTable, SampleTable],
    window: Interval,
    calibration: Calibration,
    golfer: GolferFacts,
) -> Numbers:
    swing = analyse_window(*tables, window, 1, [calibration], golfer)
    return {
        name: value
        for name, value in swing.metrics.items()
        if isinstance(value, float) and np.isfinite(value)
    }
