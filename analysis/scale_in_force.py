"""Which scale factors hold for a segment's gyro, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.samples import SampleTable, Segment
from analysis.scale_calibration import ScaleFactors


@dataclass(frozen=True, slots=True)
class SegmentScale:
    """Factors of the sensor on a segment, in force from `from_s` of session time on.

    factors None: a sensor whose scale is not known.
    """

    segment: Segment
    factors: ScaleFactors | None
    from_s: float = float("-inf")


def scale_in_force(
    scales: Sequence[SegmentScale], segment: Segment, time_s: float
) -> ScaleFactors | None:
    """Those with the latest `from_s` that is not after a session time, the last named of equals."""
    known = [one for one in _of(scales, segment) if one.from_s <= time_s]
    return known[-1].factors if known else None


def put_right(
    samples: SampleTable, segment: Segment, scales: Sequence[SegmentScale]
) -> SampleTable:
    """The samples with every gyro value times the factors in force at its own time.

    So it does not matter how samples are cut. The same table where no factors are known.
    """
    own = _of(scales, segment)
    if not any(one.factors is not None for one in own):
        return samples
    none = np.ones(3)
    factors = [none] + [none if one.factors is None else one.factors.factors for one in own]
    at = np.searchsorted([one.from_s for one in own], samples.time_s, side="right")
    return replace(samples, gyro=samples.gyro * np.array(factors)[at])


def _of(scales: Sequence[SegmentScale], segment: Segment) -> list[SegmentScale]:
    return sorted((one for one in scales if one.segment is segment), key=lambda one: one.from_s)
