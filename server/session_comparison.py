"""Two sessions of one golfer, number by number: changed, not shown, or too few swings.

The golfer's spread from day to day comes from the sessions up to and with the first of the two:
what was meant to change something between the two cannot be in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from analysis.columns import Column
from analysis.comparison import Block, compare_blocks
from analysis.errors import SeriesError
from analysis.reliability import SessionSpread, session_to_session
from analysis.results import Flag
from analysis.serial_correlation import serial_correlation
from server.change_views import CautionView, ComparisonView, MetricComparisonView
from server.errors import ConflictError, UnusableInputError
from server.session_swings import SessionSwings, values
from server.store import SwingRecord
from server.views import SessionView

FEWEST_EARLIER = 3
"""Earlier sessions from which a spread from day to day is taken. Two would do for the formula, but
Student's factor at one degree of freedom is 12.7: nothing could ever be shown."""
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class History:
    """A golfer's earlier sessions: usable swings of each, oldest first; empty where too few."""

    sessions: Sequence[Sequence[SwingRecord]] = field(default=())

    def spread(self, column: str) -> SessionSpread | None:
        """Spread within and between the sessions; None where it cannot be had."""
        numbers = [values(session, column) for session in self.sessions]
        filled = [one for one in numbers if any(value is not None for value in one)]
        if len(filled) < FEWEST_EARLIER:
            return None
        try:
            return session_to_session(filled)
        except SeriesError:  # no session with two numbers
            return None

    def neighbours(self, column: str) -> float:
        """Lag-one correlation of swings where it is evident, else 0."""
        found = serial_correlation([values(session, column) for session in self.sessions])
        return found.value if found and found.evident else 0.0


def comparison(
    before: SessionSwings, after: SessionSwings, history: History, columns: Sequence[Column]
) -> ComparisonView:
    """Compare two sessions in the numbers asked for, read together.

    Raises ConflictError: not sessions of one golfer. UnusableInputError: not in order of time.
    """
    _check(before, after)
    metrics = [_metric(before, after, history, columns, column) for column in columns]
    return ComparisonView(
        before=SessionView.of(before.session),
        after=SessionView.of(after.session),
        confidence=1.0 - (1.0 - CONFIDENCE) / len(columns),
        earlier_sessions=len(history.sessions),
        cautions=CautionView.of_all(_cautions(before, after, history)),
        metrics=metrics,
    )


def _metric(
    before: SessionSwings,
    after: SessionSwings,
    history: History,
    columns: Sequence[Column],
    column: Column,
) -> MetricComparisonView:
    mounting_u = tuple(block.mounting_u.get(column.name) for block in (before, after))
    blocks = [
        Block(block.values(column.name), shared_u or 0.0)
        for block, shared_u in zip((before, after), mounting_u, strict=True)
    ]
    spread = history.spread(column.name)
    found = compare_blocks(
        blocks[0],
        blocks[1],
        between_sessions=spread,
        serial_correlation=history.neighbours(column.name),
        looked_at_together=len(columns),
        confidence=CONFIDENCE,
    )
    day_to_day = spread.between_sd if spread else None
    return MetricComparisonView.of(found, column, (mounting_u[0], mounting_u[1]), day_to_day)


def _check(before: SessionSwings, after: SessionSwings) -> None:
    one, other = before.session, after.session
    if one.id == other.id:
        raise UnusableInputError("before and after: expected two sessions, received the same twice")
    if one.golfer_id is None or one.golfer_id != other.golfer_id:
        raise ConflictError(
            "before and after: expected two sessions of one golfer, received one of "
            f"{one.golfer_name or 'nobody named'} and one of {other.golfer_name or 'nobody named'}"
        )
    if one.started_at > other.started_at:
        raise UnusableInputError(
            f"before: expected the earlier session, but {one.id} began after {other.id}"
        )


def _cautions(before: SessionSwings, after: SessionSwings, history: History) -> list[Flag]:
    """What to know of all numbers alike, each said once."""
    found = {flag.code: flag for block in (before, after) for flag in block.cautions()}
    versions = {record.analysis_version for block in (before, after) for record in block.usable}
    if len(versions) > 1:
        text = "the two sessions were analysed by different versions of the analysis"
        found["analysis_version"] = Flag("analysis_version", text, spoils=False)
    if before.held != after.held:
        text = (
            "what held the sensors is not said alike of the two sessions: the ride of a strapped "
            "sensor is 1 to 3 % of a peak, and may be in one of them only"
        )
        found["held_differently"] = Flag("held_differently", text, spoils=False)
    if history.sessions:
        text = (
            "how much this golfer moves from day to day comes from "
            f"{len(history.sessions)} sessions; what training changed among them counts as well"
        )
        found["training_among_earlier"] = Flag("training_among_earlier", text, spoils=False)
    return list(found.values())
