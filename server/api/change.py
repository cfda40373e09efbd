"""A session in sum, and the change from one session to another."""

from __future__ import annotations

from collections.abc import Sequence
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query

from server.api.dependencies import ServiceOf, SessionId
from server.change_views import ComparisonView, SummaryView
from server.metric_choice import columns_asked_for
from server.models import ID_PATTERN
from server.problems import declared
from server.service import Service
from server.session_comparison import FEWEST_EARLIER, History, comparison
from server.session_summary import summary
from server.session_swings import SessionSwings, usable
from server.store import SessionSummary, SwingRecord

router = APIRouter(prefix="/api", tags=["change"], responses=declared(HTTPStatus.NOT_FOUND))

Metrics = Annotated[
    list[str] | None,
    Query(
        max_length=100,
        description="Columns, one a parameter; the key numbers of training where it is left out.",
    ),
]
SessionQuery = Annotated[str, Query(pattern=ID_PATTERN, description="Id of a session.")]


@router.get("/sessions/{session_id}/summary")
def summary_of_session(
    session_id: SessionId, service: ServiceOf, metrics: Metrics = None
) -> SummaryView:
    """Mean, spread, smallest change that can be told, and drift of a session's numbers."""
    columns = columns_asked_for(metrics)
    return summary(_swings(service, service.store.sessions.get(session_id)), columns)


@router.get("/comparison", responses=declared(HTTPStatus.NOT_FOUND, HTTPStatus.CONFLICT))
def compare_sessions(
    before: SessionQuery, after: SessionQuery, service: ServiceOf, metrics: Metrics = None
) -> ComparisonView:
    """Whether numbers changed from one session of a golfer to a later one.

    Each with its interval and one plain verdict. 'Changed' is said of the numbers, not of what
    brought the change about, and not of whether it is good.
    """
    columns = columns_asked_for(metrics)
    first, second = (_swings(service, service.store.sessions.get(one)) for one in (before, after))
    return comparison(first, second, _history(service, first.session), columns)


def _swings(service: Service, session: SessionSummary) -> SessionSwings:
    records = service.store.swings.of_session(session.id)
    held = service.store.fixings.of(session.id)
    return SessionSwings(session, records, service.mountings.of(usable(records)), held)


def _history(service: Service, until: SessionSummary) -> History:
    """Usable swings of the golfer's sessions up to and with this one."""
    if until.golfer_id is None:
        return History()
    sessions: dict[str, list[SwingRecord]] = {}
    for record in usable(service.store.swings.of_golfer(until.golfer_id)):
        if record.session.started_at <= until.started_at:
            sessions.setdefault(record.session.id, []).append(record)
    found: Sequence[Sequence[SwingRecord]] = list(sessions.values())
    return History(found if len(found) >= FEWEST_EARLIER else ())
