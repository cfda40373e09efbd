"""The swings of a session as statistics take them: usable ones, number by number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.results import Fixing, Flag
from server.store import SessionSummary, SwingRecord

DWELL = "dwell"
NOT_CALIBRATED = Flag(
    "not_calibrated",
    "the sensors were not calibrated: how far they sat off is not known and not in these ranges",
    spoils=False,
)
MOUNTING_NOT_KNOWN = Flag(
    "mounting_not_known",
    "no samples are stored: what the mounting of the sensors adds is not in these ranges",
    spoils=False,
)


@dataclass(frozen=True, slots=True)
class SessionSwings:
    """A session, its swings in order, and what their mounting leaves uncertain.

    mounting_u: column -> one standard uncertainty shared by all swings; empty where not known.
    held: what held pelvis and upper-back sensor.
    """

    session: SessionSummary
    records: Sequence[SwingRecord]
    mounting_u: Mapping[str, float]
    held: tuple[Fixing, Fixing] = (Fixing.UNKNOWN, Fixing.UNKNOWN)

    @property
    def usable(self) -> list[SwingRecord]:
        """Swings that averages take."""
        return usable(self.records)

    def values(self, column: str) -> list[float | None]:
        """A number of each usable swing; None where it has none."""
        return values(self.usable, column)

    def cautions(self) -> list[Flag]:
        """What to know of all numbers of the session alike."""
        if not self.session.calibrated:
            return [NOT_CALIBRATED]
        return [MOUNTING_NOT_KNOWN] if self.usable and not self.mounting_u else []


def usable(records: Sequence[SwingRecord]) -> list[SwingRecord]:
    """Swings that averages take, in order."""
    return [record for record in records if record.swing.usable]


def values(records: Sequence[SwingRecord], column: str) -> list[float | None]:
    """A number of each swing; None where it has none."""
    return [_number(record.swing.metrics.get(column)) for record in records]


def dwells(record: SwingRecord) -> bool:
    """Whether a segment dwells at its reversal in this swing."""
    return any(flag.code == DWELL for flag in record.swing.flags)


def _number(value: float | str | None) -> float | None:
    return None if value is None or isinstance(value, str) else value
