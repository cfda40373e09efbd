"""Swings: numbers, curves, CSV."""

from __future__ import annotations

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter
from fastapi.responses import StreamingResponse

from server.api.dependencies import GolferId, ServiceOf, SessionId, SwingId, session_and_number
from server.problems import declared
from server.store import SwingRecord
from server.stored_csv import stored_csv_lines
from server.views import CurvesView, SwingView

router = APIRouter(prefix="/api", tags=["swings"], responses=declared(HTTPStatus.NOT_FOUND))
CSV: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "One row a swing; a number reads back to the very same float64.",
        "content": {"text/csv": {"schema": {"type": "string"}}},
    }
}


@router.get("/sessions/{session_id}/swings")
def swings_of_session(session_id: SessionId, service: ServiceOf) -> list[SwingView]:
    """Swings of a session in order."""
    service.store.sessions.get(session_id)
    return [SwingView.of(record) for record in service.store.swings.of_session(session_id)]


@router.get("/swings/{swing_id}")
def get_swing(swing_id: SwingId, service: ServiceOf) -> SwingView:
    """One swing."""
    return SwingView.of(service.store.swings.get(*session_and_number(swing_id)))


@router.get("/swings/{swing_id}/curves")
def curves_of_swing(swing_id: SwingId, service: ServiceOf) -> CurvesView:
    """A swing against time, computed from its stored samples."""
    record = service.store.swings.get(*session_and_number(swing_id))
    return CurvesView.of(service.curves.get(record), record.swing.events)


@router.get("/sessions/{session_id}/swings.csv", responses=CSV, response_class=StreamingResponse)
def csv_of_session(session_id: SessionId, service: ServiceOf) -> StreamingResponse:
    """Swings of a session as CSV."""
    session = service.store.sessions.get(session_id)
    name = f"swings-{session.started_at:%Y-%m-%d}-{session.id}.csv"
    return _csv(service.store.swings.of_session(session_id), name)


@router.get("/golfers/{golfer_id}/swings.csv", responses=CSV, response_class=StreamingResponse)
def csv_of_golfer(golfer_id: GolferId, service: ServiceOf) -> StreamingResponse:
    """Every swing of a golfer as CSV."""
    service.store.golfers.get(golfer_id)
    return _csv(service.store.swings.of_golfer(golfer_id), f"swings-{golfer_id}.csv")


def _csv(records: Iterable[SwingRecord], name: str) -> StreamingResponse:
    return StreamingResponse(
        stored_csv_lines(records),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )
