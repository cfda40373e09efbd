"""The live analysis of one session: from committed batches to stored and published swings."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from analysis.errors import CalibrationError
from analysis.results import Swing
from analysis.samples import SampleTable, Segment
from analysis.session import SessionAnalysis
from server.calibrating import pairs, repeated_calibration, verdict
from server.clock import Clock
from server.models import Mark
from server.store import Store
from server.store.raw import Timelines
from server.store.scales import ScaleInForce
from server.traces import TraceFeed
from server.views import CalibrationMessage, LiveMessage, SwingMessage, SwingView

log = logging.getLogger(__name__)

CHUNK = 128
"""Batches in one go: some 6 s of two sensors; other sessions get their turn in between."""

Publish = Callable[[LiveMessage | None], None]
"""None: the list of swings is to be sent anew."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far an analysis has come. seen_to_s: session time up to which it has both sensors.

    anew: it goes through the session once more, with what was measured since.
    """

    seen_to_s: float
    anew: bool


class LiveSession:
    """Every method but `halt` and `progress` runs in the analysis thread.

    A new calibration, or a scale that was measured, starts the analysis anew from the first batch,
    with all of them known, so that the swings are always those that an analysis of the whole
    session finds.
    """

    def __init__(self, store: Store, session_id: str, publish: Publish, clock: Clock) -> None:
        self._store = store
        self._id = session_id
        self._publish = publish
        self._clock = clock
        self._halted = False
        self._unreadable: set[tuple[int, int]] = set()
        self._analysis: SessionAnalysis | None = None
        self._scales: tuple[ScaleInForce, ...] = ()
        self._clear_from_end = False
        self._timelines = Timelines()
        self._cursor = 0
        self._found = 0
        self._anew = False

    def advance(self) -> bool:
        """Analyse a chunk of what is stored; True: more waits."""
        if self._analysis is None:
            self._begin()
        batches = self._store.raw.after(self._id, self._cursor, CHUNK)
        if self._store.scales.of_session(self._id) != self._scales:
            return self._begin_again()
        for segment, table in self._timelines.joined(batches):
            self._take(segment, table)
        self._cursor = batches[-1].id if batches else self._cursor
        more = len(batches) == CHUNK
        if not more:
            self._anew = False
            self._clear_superseded()
            self._send_trace()
        if self._calibrate():
            return self._begin_again()
        return more and not self._halted

    def finish(self) -> None:
        """Analyse the rest; the last swing no longer waits for what follows it."""
        while self.advance():
            continue
        if self._halted or self._analysis is None:
            return
        self._keep(self._analysis.finish())
        self._clear_from_end = True
        self._clear_superseded()
        self._analysis = None

    def halt(self) -> None:
        """Stop after the chunk under way; may be called from any thread."""
        self._halted = True

    def progress(self) -> Progress:
        """How far it has come; may be called from any thread."""
        return Progress(self._timelines.both_seen_to_s, self._anew)

    def _begin(self) -> None:
        calibrations = self._store.swings.calibrations(self._id)
        facts = self._store.golfers.facts(self._store.sessions.get(self._id).golfer_id)
        self._scales = self._store.scales.of_session(self._id)
        scales = [one.for_analysis() for one in self._scales]
        self._analysis = SessionAnalysis(calibrations, facts, scales)
        self._timelines = Timelines()
        self._trace = TraceFeed(facts.handedness, scales)
        for calibration in calibrations:
            self._trace.calibrate(calibration)
        self._cursor = 0
        self._found = 0

    def _begin_again(self) -> bool:
        """From the first batch, with what is known now; True: so more waits."""
        self._analysis = None
        self._clear_from_end = self._anew = True
        return True

    def _take(self, segment: Segment, table: SampleTable) -> None:
        assert self._analysis is not None
        self._trace.push(segment, table)
        try:
            swings = self._analysis.push(segment, table)
        except Exception:  # the samples are safe in the store; the session goes on without them
            log.exception(
                "session %s: samples at %.1f s were not analysed", self._id, table.time_s[0]
            )
        else:
            self._keep(swings)

    def _keep(self, swings: list[Swing]) -> None:
        for swing in swings:
            self._found = swing.number
            if self._store.swings.put(self._id, swing):
                record = self._store.swings.get(self._id, swing.number)
                self._publish(SwingMessage(swing=SwingView.of(record)))

    def _clear_superseded(self) -> None:
        """Take out swings that were found before a calibration and are no longer."""
        if not self._clear_from_end:
            return
        self._clear_from_end = False
        if self._store.swings.drop_after(self._id, self._found):
            self._publish(None)

    def _send_trace(self) -> None:
        message = self._trace.take(self._clock.monotonic())
        if message is not None:
            self._publish(message)

    def _calibrate(self) -> bool:
        """Read calibrations from marks whose samples are in; True: there is a new one."""
        done = self._store.swings.calibrated_marks(self._id) | self._unreadable
        seen_to_s = self._timelines.both_seen_to_s
        found = pairs(self._store.sessions.marks(self._id))
        read = [
            self._read_calibration(pair, found[:number])
            for number, pair in enumerate(found)
            if (pair[0].id, pair[1].id) not in done and pair[1].end_s <= seen_to_s
        ]
        return any(read)

    def _read_calibration(self, pair: tuple[Mark, Mark], before: list[tuple[Mark, Mark]]) -> bool:
        stand, bow = pair
        samples = partial(self._store.raw.samples, self._id)
        try:
            calibration = repeated_calibration(samples, pair, before)
        except CalibrationError as error:
            self._unreadable.add((stand.id, bow.id))
            self._publish(CalibrationMessage(calibrated=False, text=str(error)))
            return False
        calibration = calibration.fixed(*self._store.fixings.of(self._id))
        self._store.swings.add_calibration(self._id, calibration, (stand.id, bow.id))
        text, repeats = verdict(calibration), calibration.repeats
        self._publish(CalibrationMessage(calibrated=True, text=text, repeats=repeats))
        return True
