"""Which stand belongs to which bow, and the calibration read from them and their repeats."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, TypeVar

import numpy as np

from analysis.calibration import calibrate
from analysis.errors import CalibrationError
from analysis.pooled_calibration import pooled
from analysis.results import Calibration, Interval
from analysis.samples import SampleTable, Segment
from sensors.stream_monitor import SILENT_S
from sensors.swap_watch import FAST_RADPS

PAIR_WITHIN_S = 120.0
"""A bow belongs to the last stand before it, if that is no longer ago than this; and a stand to the
bow before it as its repeat, if neither a swing nor a sensor taken off shows in between."""


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
Samples = Callable[[Segment, float, float], SampleTable]
"""Samples of a segment, start <= session time < end."""


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


def calibration_of(samples: Samples, pair: tuple[MarkLike, MarkLike]) -> Calibration:
    """The calibration of a stand and a bow, in force from the stand on.

    Raises analysis.errors.CalibrationError where none can be read.
    """
    stand, bow = pair
    return calibrate(
        samples(Segment.PELVIS, stand.start_s, bow.end_s),
        samples(Segment.UPPER_BACK, stand.start_s, bow.end_s),
        Interval(stand.start_s, stand.end_s),
        Interval(bow.start_s, bow.end_s),
        from_s=stand.start_s,
    )


def repeated_calibration(
    samples: Samples, pair: tuple[M, M], before: Sequence[tuple[M, M]]
) -> Calibration:
    """The calibration of a pair and its repeats: those just before it, with nothing in between.

    before: the pairs before it, in order. In force from the first stand of them on. Raises
    analysis.errors.CalibrationError where this pair gives none; repeats that give none are passed
    over.
    """
    repeats = [calibration_of(samples, pair)]
    later = pair
    for earlier in reversed(before):
        if not _goes_on(samples, earlier[1].end_s, later[0].start_s):
            break
        with contextlib.suppress(CalibrationError):
            repeats.append(calibration_of(samples, earlier))
        later = earlier
    return pooled(repeats[::-1])


def _goes_on(samples: Samples, from_s: float, to_s: float) -> bool:
    """Whether the sensors were worn all along between two pairs, and nobody swung."""
    if to_s - from_s > PAIR_WITHIN_S:
        return False
    for segment in Segment if to_s > from_s else ():
        between = samples(segment, from_s, to_s)
        steps = np.diff(np.concatenate(([from_s], between.time_s, [to_s])))
        fastest = np.linalg.norm(between.gyro, axis=1).max(initial=0.0)
        if steps.max() > SILENT_S or fastest > FAST_RADPS:
            return False
    return True


def verdict(calibration: Calibration) -> str:
    """What came of a stand and a bow, for people."""
    if calibration.flags:
        return " ".join(flag.text for flag in calibration.flags)
    return "Calibrated: both sensors are measured against the body."
