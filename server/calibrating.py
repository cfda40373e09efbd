"""Which stand belongs to which bow, and the calibration read from the two."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

from analysis.calibration import calibrate
from analysis.results import Calibration, Interval
from analysis.samples import SampleTable

PAIR_WITHIN_S = 120.0
"""A bow belongs to the last stand before it, if that is no longer ago than this."""


class MarkLike(Protocol):
    """A stretch of session time with a kind; stored marks and marks on the wire are such."""

    @property
    def kind(self) -> str:
        """stand, bow or sync."""
        ...

    @property
    def start_s(self) -> float:
        """Begin, s."""
        ...

    @property
    def end_s(self) -> float:
        """End, s."""
        ...


M = TypeVar("M", bound=MarkLike)


def pairs(marks: Iterable[M]) -> list[tuple[M, M]]:
    """Each bow with the stand before it, in the order of the bows."""
    ordered = sorted(marks, key=lambda mark: mark.start_s)
    stand: M | None = None
    found: list[tuple[M, M]] = []
    for mark in ordered:
        if mark.kind == "stand":
            stand = mark
        elif mark.kind == "bow" and stand and mark.start_s - stand.end_s <= PAIR_WITHIN_S:
            found.append((stand, mark))
    return found


def calibration_of(
    pelvis: SampleTable, upper_back: SampleTable, stand: MarkLike, bow: MarkLike
) -> Calibration:
    """The calibration of a stand and a bow, in force from the stand on.

    Raises analysis.errors.CalibrationError where none can be read.
    """
    return calibrate(
        pelvis,
        upper_back,
        Interval(stand.start_s, stand.end_s),
        Interval(bow.start_s, bow.end_s),
        from_s=stand.start_s,
    )


def session_calibrations(
    pelvis: SampleTable, upper_back: SampleTable, marks: Sequence[MarkLike]
) -> list[Calibration]:
    """Every calibration of a whole recording. Raises analysis.errors.CalibrationError."""
    return [calibration_of(pelvis, upper_back, stand, bow) for stand, bow in pairs(marks)]


def verdict(calibration: Calibration) -> str:
    """What came of a stand and a bow, for people."""
    if calibration.flags:
        return " ".join(flag.text for flag in calibration.flags)
    return "Calibrated: both sensors are measured against the body."
