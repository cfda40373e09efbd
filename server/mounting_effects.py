"""How uncertain the mounting leaves a session's numbers: worked out once, kept for a while."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from threading import Lock

from analysis.mounting_effect import mounting_uncertainty
from analysis.results import Calibration
from analysis.samples import Segment
from analysis.scale_in_force import SegmentScale
from analysis.segmentation import anchor_s
from server.store import Store, SwingRecord

CACHE_LIMIT = 256
"""Sessions kept: a few kB each."""


class MountingEffects:
    """What one calibration does to all swings under it. Safe to call from several threads.

    Taken from the first usable swing under the newest calibration, for swings of one golfer are
    alike enough: the effect is a small uncertainty of its own.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = Lock()
        self._kept: OrderedDict[tuple[object, ...], Mapping[str, float]] = OrderedDict()

    def of(self, usable: Sequence[SwingRecord]) -> Mapping[str, float]:
        """Column -> one standard uncertainty that all of these swings of one session share.

        Empty where it is not known: no calibration, or no samples in the store.
        """
        if not usable:
            return {}
        calibrations = self._store.swings.calibrations(usable[0].session.id)
        measured = [one.from_s for one in calibrations if one.calibrated]
        if not measured:
            return {}
        under = [one for one in usable if anchor_s(one.swing.window) >= max(measured)]
        record = (under or usable)[0]
        scales = self._store.scales.of_session(record.session.id)
        held = tuple((one.pelvis.fixing, one.upper_back.fixing) for one in calibrations)
        key = (record.session.id, record.swing.number, held, len(scales))
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        effect = self._effect(record, calibrations, [one.for_analysis() for one in scales])
        with self._lock:
            self._kept[key] = effect
            while len(self._kept) > CACHE_LIMIT:
                self._kept.popitem(last=False)
        return effect

    def _effect(
        self,
        record: SwingRecord,
        calibrations: list[Calibration],
        scales: Sequence[SegmentScale],
    ) -> Mapping[str, float]:
        window, session = record.swing.window, record.session
        pelvis, upper_back = (
            self._store.raw.samples(session.id, segment, window.start_s, window.end_s)
            for segment in (Segment.PELVIS, Segment.UPPER_BACK)
        )
        if not (len(pelvis) and len(upper_back)):
            return {}
        golfer = self._store.golfers.facts(session.golfer_id)
        return mounting_uncertainty(pelvis, upper_back, record.swing, calibrations, golfer, scales)
