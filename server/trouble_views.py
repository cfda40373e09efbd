"""A session's troubles as they go out: figures and one plain line."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Literal

from sensors.wire import SegmentName
from server.models import Trouble
from server.views import View

_NAMES = {"pelvis": "Pelvis", "upper_back": "Upper back"}


class TroubleView(View):
    """A stretch in which a sensor did not give what it should.

    segment: null concerns both sensors. end_s, duration_s: null where it lasts, or lasted to the
    session's end. text: the same in words, without the moment, which the page adds in local time.
    """

    kind: Literal["silent", "slow", "lost", "gap", "swapped"]
    segment: SegmentName | None
    at: datetime
    start_s: float
    end_s: float | None
    duration_s: float | None
    lost: int
    text: str

    @classmethod
    def of(cls, trouble: Trouble, started_at: datetime) -> TroubleView:
        """View of a stored trouble of a session that started at `started_at`."""
        end_s = trouble.end_s
        duration_s = None if end_s is None else end_s - trouble.start_s
        return cls.model_validate(
            {
                "kind": trouble.kind,
                "segment": trouble.segment,
                "at": started_at + timedelta(seconds=trouble.start_s),
                "start_s": trouble.start_s,
                "end_s": end_s,
                "duration_s": duration_s,
                "lost": trouble.lost,
                "text": _text(trouble, duration_s),
            }
        )


def _text(trouble: Trouble, duration_s: float | None) -> str:
    if trouble.kind == "swapped":
        return "The sensors seem to be worn the wrong way round"
    lasting = "to the end" if duration_s is None else f"for {duration_s:.1f} s"
    missing = f"{trouble.lost} sample{'' if trouble.lost == 1 else 's'}"
    words = {
        "silent": f"silent {lasting}",
        "slow": f"slow {lasting}",
        "gap": f"left a gap of {duration_s or 0.0:.2f} s",
        "lost": f"lost {missing}",
    }[trouble.kind]
    return f"{_NAMES[trouble.segment or '']} sensor {words}"
