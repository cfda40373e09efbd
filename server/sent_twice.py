"""Two collectors that send the same at the same time: a spool that was copied, a sensor read twice.

Nothing is lost or stored twice by it; but whoever runs the second one should know.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

from sensors.wire import SegmentName

TOGETHER_S = 2.0
"""Samples of a segment that lie so near in session time come from the same moment."""
_order = itertools.count()


@dataclass(frozen=True, slots=True)
class _Batch:
    order: int
    stream_id: str
    end_s: float


class Arrivals:
    """What one connection has brought, newest batch of each segment."""

    def __init__(self) -> None:
        self._last: dict[SegmentName, _Batch] = {}
        self._said = False

    def note(
        self, segment: SegmentName, stream_id: str, end_s: float, others: Iterable[Arrivals]
    ) -> str | None:
        """A batch came. Gives what to say, once, where another connection brings the same.

        That is so when a batch of another came between two of this one: a connection that was
        lost, and whose end nobody has noticed yet, brings nothing any more.
        """
        mine, new = self._last.get(segment), _Batch(next(_order), stream_id, end_s)
        self._last[segment] = new
        if mine is None or self._said:
            return None
        theirs = [one._last[segment] for one in others if segment in one._last]
        between = [one for one in theirs if one.order > mine.order]
        place = segment.replace("_", "-")
        if any(one.stream_id == stream_id for one in between):
            words = f"the same {place} samples; each is stored once"
        elif any(abs(one.end_s - end_s) < TOGETHER_S for one in between):
            words = f"a {place} sensor into this session; only one of the two can be analysed"
        else:
            return None
        self._said = True
        return f"another collector sends {words}: stop one of them"
