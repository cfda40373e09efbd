"""Rotational power of a trunk segment about its long axis, from body size tables: an estimate.

Segment inertias after de Leva 1996, J Biomech 29:1223-1230, table 4 (as two independent
transcriptions of it agree). The pelvis sensor stands for the lower trunk, the upper-back sensor
for the upper trunk; arms, head and club, which turn with it, are not counted.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.events import AxialCurve
from analysis.results import GolferFacts, Sex
from analysis.samples import Segment


@dataclass(frozen=True, slots=True)
class TrunkPart:
    """mass_share of body mass; gyration: radius about the long axis as a share of length_m, the
    part's length in the reference body."""

    mass_share: float
    gyration: float
    length_m: float


REFERENCE_HEIGHT_M = {Sex.MALE: 1.741, Sex.FEMALE: 1.735}
"""Height of the reference bodies, de Leva 1996."""
PARTS = {
    (Segment.UPPER_BACK, Sex.MALE): TrunkPart(0.1596, 0.659, 0.1707),
    (Segment.UPPER_BACK, Sex.FEMALE): TrunkPart(0.1545, 0.718, 0.1425),
    (Segment.PELVIS, Sex.MALE): TrunkPart(0.1117, 0.587, 0.1457),
    (Segment.PELVIS, Sex.FEMALE): TrunkPart(0.1247, 0.444, 0.1815),
}
"""Upper trunk from suprasternale to xiphion, lower trunk from omphalion to mid-hip."""


def axial_inertia(segment: Segment, golfer: GolferFacts) -> float | None:
    """Moment of inertia about the segment's long axis, kg m^2; None where a body fact is missing.

    The part's length grows with height, its mass with body mass.
    """
    if golfer.height_m is None or golfer.mass_kg is None or golfer.sex is None:
        return None
    part = PARTS[segment, golfer.sex]
    length_m = part.length_m * golfer.height_m / REFERENCE_HEIGHT_M[golfer.sex]
    return part.mass_share * golfer.mass_kg * (part.gyration * length_m) ** 2


def peak_power(curve: AxialCurve, inertia: float, start_s: float, end_s: float) -> float:
    """Highest I x acceleration x velocity between two times, W; curve in rad/s."""
    _, velocity, slope = curve.rows(start_s, end_s)
    return float((inertia * slope * velocity).max()) if velocity.size else 0.0
