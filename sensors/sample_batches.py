"""A simulated session as the batches its two sensors would send, in order of time.

Pure: nothing waits here; a live source paces itself by each batch's `end_s`.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from sensors.body_motion import SEGMENTS
from sensors.faults import SensorSamples, join_samples
from sensors.golfer_simulation import CalibrationMark, SessionStretch
from sensors.wire import SegmentName


class SimulatedBatch(NamedTuple):
    """What one sensor sends at once; end_s: session time of its last sample.

    lost_before: samples missing between the batch before of this sensor and this one's last sample.
    """

    end_s: float
    segment: SegmentName
    samples: SensorSamples
    lost_before: int


def batches_in_time(
    stretches: Iterable[SessionStretch], batch_samples: int = 20
) -> Iterator[SimulatedBatch | CalibrationMark]:
    """Batches of at most batch_samples of both sensors by their last sample's time, and the marks.

    A mark comes after every sample that lies in it. Only what one activity holds is in memory.
    """
    cutters = {segment: _Cutter(segment, batch_samples) for segment in SEGMENTS}
    waiting: list[CalibrationMark] = []
    sent_s = dict.fromkeys(SEGMENTS, -np.inf)
    for batch, marks in _in_time(stretches, cutters):
        waiting.extend(marks)
        if batch is not None:
            yield batch
            sent_s[batch.segment] = batch.end_s
        while waiting and waiting[0].end_s <= min(sent_s.values()):
            yield waiting.pop(0)
    yield from waiting


def _in_time(
    stretches: Iterable[SessionStretch], cutters: dict[SegmentName, _Cutter]
) -> Iterator[tuple[SimulatedBatch | None, tuple[CalibrationMark, ...]]]:
    """Both sensors' batches in order of time; after an activity's batches its marks."""
    for stretch in stretches:
        cut = [cutters[segment].cut(stretch.samples[segment]) for segment in SEGMENTS]
        for batch in heapq.merge(*cut, key=lambda batch: batch.end_s):
            yield batch, ()
        yield None, stretch.marks
    rest = [cutter.rest() for cutter in cutters.values()]
    for batch in heapq.merge(*rest, key=lambda batch: batch.end_s):
        yield batch, ()


class _Cutter:
    """Cuts one sensor's samples along its batch borders, keeping an unfinished batch."""

    def __init__(self, segment: SegmentName, batch_samples: int) -> None:
        self._segment = segment
        self._size = batch_samples
        self._open: SensorSamples | None = None
        self._next = 0

    def cut(self, samples: SensorSamples) -> list[SimulatedBatch]:
        """Finished batches."""
        if self._open is not None:
            samples = join_samples([self._open, samples])
        batch = samples.number // self._size
        borders = np.flatnonzero(np.diff(batch)) + 1
        starts = [0, *borders.tolist()]
        pieces = [
            samples.rows(first, last)
            for first, last in zip(starts, [*starts[1:], len(batch)], strict=True)
        ]
        self._open = pieces.pop()
        return [self._batch(piece) for piece in pieces]

    def rest(self) -> list[SimulatedBatch]:
        """The unfinished batch, at the end of all."""
        if self._open is None or not len(self._open.number):
            return []
        return [self._batch(self._open)]

    def _batch(self, piece: SensorSamples) -> SimulatedBatch:
        last = int(piece.number[-1])
        lost = last + 1 - self._next - len(piece.number)
        self._next = last + 1
        return SimulatedBatch(float(piece.time_s[-1]), self._segment, piece, lost)
