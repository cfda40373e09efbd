"""Curves of a stored swing, computed again from its raw samples and kept for a while."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock

from analysis.results import Curves
from server.reanalyse import curves_of
from server.store import Store, SwingRecord

CACHE_LIMIT = 64
"""Swings kept: about 0.1 MB each at 200 Hz."""


class CurveCache:
    """The curves asked for last. Safe to call from several threads."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = Lock()
        self._kept: OrderedDict[tuple[object, ...], Curves] = OrderedDict()

    def get(self, record: SwingRecord) -> Curves:
        """Curves of a swing. Raises NotFoundError where its samples are not stored."""
        window = record.swing.window
        calibrations = tuple(
            (one.from_s, one.pelvis.fixing, one.upper_back.fixing)
            for one in self._store.swings.calibrations(record.session.id)
        )
        scales = len(self._store.scales.of_session(record.session.id))
        key = (record.id, window.start_s, window.end_s, calibrations, scales)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        curves = curves_of(self._store, record)
        with self._lock:
            self._kept[key] = curves
            while len(self._kept) > CACHE_LIMIT:
                self._kept.popitem(last=False)
        return curves
