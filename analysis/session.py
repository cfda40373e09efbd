"""A session's swings from its sample streams, live or stored: one and the same code."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from analysis.blocks import BLOCK_S, SampleStream
from analysis.calibration import worn_in_segment_axes
from analysis.results import Calibration, GolferFacts, Interval, Swing
from analysis.samples import Array, SampleTable, Segment
from analysis.scale_in_force import SegmentScale, put_right, scale_in_force
from analysis.segmentation import SwingFinder, anchor_s
from analysis.swing import analyse_swing

LONGEST_LAG_S = 600.0
"""A sensor that is further behind the other than this is taken as silent in between; the samples
held until then are some 10 MB."""
CHUNK_S = 60.0
"""Whole tables are taken in pieces of this length, so that their analysis needs little memory."""


class SessionAnalysis:
    """Takes samples as they come and gives swings as they end.

    A swing is given once the quiet after it is seen, 1.5 to 3.5 s after its peak speed, when both
    sensors have come that far. What is given depends on the samples and on the calibrations known
    by then, not on how the samples were cut into pushes. Memory is bounded: half a minute of
    samples, or LONGEST_LAG_S while a sensor is behind. scales: what is known of the gyros' scale;
    it is put right before anything else.
    """

    def __init__(
        self,
        calibrations: Iterable[Calibration],
        golfer: GolferFacts,
        scales: Sequence[SegmentScale] = (),
    ) -> None:
        self._calibrations: list[Calibration] = []
        self._golfer = golfer
        self._scales = tuple(scales)
        self._streams = {segment: SampleStream() for segment in Segment}
        self._finder = SwingFinder(self._calibration_at)
        self._count = 0
        for calibration in calibrations:
            self.add_calibration(calibration)

    def add_calibration(self, calibration: Calibration) -> None:
        """Take up a calibration; in force from its `from_s` for swings not yet given."""
        self._calibrations.append(calibration)

    def push(self, segment: Segment, samples: SampleTable) -> list[Swing]:
        """Take samples of one sensor, later than its last; returns the swings that ended.

        Samples that are not later than the sensor's last one are left out.
        """
        self._streams[segment].push(put_right(samples, segment, self._scales))
        front = min(stream.front for stream in self._streams.values())
        newest = max(stream.last_s for stream in self._streams.values())
        if np.isfinite(newest):
            front = max(front, int((newest - LONGEST_LAG_S) / BLOCK_S))
        return self._advance(front)

    def finish(self) -> list[Swing]:
        """No more samples come; returns the last swings."""
        for stream in self._streams.values():
            stream.finish()
        return self._advance(min(stream.front for stream in self._streams.values()))

    def held_s(self) -> float:
        """Length of the longest stretch of samples held, s."""
        return max(stream.held_s() for stream in self._streams.values())

    def _advance(self, front: int) -> list[Swing]:
        pelvis, upper_back = (self._streams[segment] for segment in Segment)
        windows = self._finder.advance(pelvis.blocks, upper_back.blocks, front)
        swings = [self._analyse(window) for window in windows]
        keep_s = self._finder.needed_from(front) * BLOCK_S
        for stream in self._streams.values():
            stream.forget(keep_s)
        return swings

    def _analyse(self, window: Interval) -> Swing:
        self._count += 1
        pelvis, upper_back = (
            self._streams[segment].between(window.start_s, window.end_s) for segment in Segment
        )
        calibration = self._calibration_at(anchor_s(window))
        return analyse_swing(
            (pelvis, upper_back),
            window,
            self._count,
            calibration,
            self._golfer,
            scale_u=_scale_u(self._scales, window),
        )

    def _calibration_at(self, time_s: float) -> Calibration:
        return calibration_in_force(self._calibrations, time_s)


def calibration_in_force(calibrations: Iterable[Calibration], time_s: float) -> Calibration:
    """The calibration with the latest `from_s` not after a session time, of equals the last.

    Before the first one the sensors are taken as worn in segment axes.
    """
    found = None
    for calibration in calibrations:
        if calibration.from_s <= time_s and (found is None or calibration.from_s >= found.from_s):
            found = calibration
    return found or worn_in_segment_axes()


def analyse_session(
    pelvis: SampleTable,
    upper_back: SampleTable,
    calibrations: Iterable[Calibration],
    golfer: GolferFacts,
    scales: Sequence[SegmentScale] = (),
) -> list[Swing]:
    """All swings of a whole session, in order of time. See `SessionAnalysis`."""
    session = SessionAnalysis(calibrations, golfer, scales)
    tables = {Segment.PELVIS: pelvis, Segment.UPPER_BACK: upper_back}
    swings: list[Swing] = []
    for start_s, end_s in _chunks([t for t in tables.values() if len(t)]):
        for segment, samples in tables.items():
            swings += session.push(segment, samples.between(start_s, end_s))
    return swings + session.finish()


def analyse_window(  # noqa: PLR0917 - the seam to the service
    pelvis: SampleTable,
    upper_back: SampleTable,
    window: Interval,
    number: int,
    calibrations: Sequence[Calibration],
    golfer: GolferFacts,
    scales: Sequence[SegmentScale] = (),
) -> Swing:
    """One swing anew from the samples of its window, to the last bit as when it was found.

    pelvis, upper_back: any tables that hold the window's samples.
    """
    calibration = calibration_in_force(calibrations, anchor_s(window))
    tables = (
        put_right(pelvis, Segment.PELVIS, scales),
        put_right(upper_back, Segment.UPPER_BACK, scales),
    )
    scale_u = _scale_u(scales, window)
    return analyse_swing(tables, window, number, calibration, golfer, scale_u=scale_u)


def _scale_u(scales: Sequence[SegmentScale], window: Interval) -> tuple[Array | None, Array | None]:
    """Relative standard uncertainty (3,) of each gyro's scale at a swing; None: not measured."""
    pelvis, upper_back = (scale_in_force(scales, one, anchor_s(window)) for one in Segment)
    return pelvis.u if pelvis else None, upper_back.u if upper_back else None


def _chunks(tables: Sequence[SampleTable]) -> Iterable[tuple[float, float]]:
    """Stretches of CHUNK_S that together hold every sample; empty stretches are left out."""
    start_s = -np.inf
    while True:
        left = [t.time_s[t.time_s.searchsorted(start_s) :] for t in tables]
        ahead = [float(times[0]) for times in left if times.size]
        if not ahead:
            return
        chunk = np.floor(min(ahead) / CHUNK_S)
        start_s = float((chunk + 1.0) * CHUNK_S)
        yield float(chunk * CHUNK_S), start_s
