"""Range sessions and their marks."""

from __future__ import annotations

import asyncio
from http import HTTPStatus
from typing import Annotated, Self

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from sensors import wire
from server.api.dependencies import ServiceOf, SessionId
from server.errors import NotFoundError
from server.models import ID_PATTERN
from server.problems import declared
from server.sessions import add_mark, finish_session, heard_from_both_to_s, start_session
from server.trouble_views import TroubleView
from server.views import MarkView, SessionView

router = APIRouter(prefix="/api/sessions", tags=["sessions"], responses=declared())

NOT_FOUND = declared(HTTPStatus.NOT_FOUND)
INPUT = declared(HTTPStatus.NOT_FOUND, HTTPStatus.BAD_REQUEST)
"""A body that cannot even be read as JSON text is a bad request."""
CONFLICT = declared(HTTPStatus.NOT_FOUND, HTTPStatus.BAD_REQUEST, HTTPStatus.CONFLICT)
Title = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


class SessionInput(BaseModel):
    """A session to be opened; without golfer it is not assigned to anyone."""

    model_config = ConfigDict(extra="forbid")

    golfer_id: str | None = Field(None, pattern=ID_PATTERN)
    title: Title = "Range session"


class MarkInput(BaseModel):
    """A stretch of session time, s: standing still, bowing, or both sensors twisted together."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    kind: wire.MarkKind
    start_s: float
    end_s: float

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.start_s < self.end_s:
            raise ValueError("start_s must be before end_s")
        return self


class MarkNowInput(BaseModel):
    """The last so many seconds that both sensors sent: what the golfer did just now."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    kind: wire.MarkKind
    seconds: float = Field(ge=0.5, le=60.0)


@router.get("")
def list_sessions(
    service: ServiceOf,
    golfer: Annotated[
        str | None, Query(pattern=ID_PATTERN, description="Only sessions of this golfer.")
    ] = None,
) -> list[SessionView]:
    """Sessions, newest first."""
    return [SessionView.of(session) for session in service.store.sessions.all(golfer)]


@router.post("", status_code=HTTPStatus.CREATED, responses=INPUT)
async def open_session(new: SessionInput, service: ServiceOf) -> SessionView:
    """Open a session. Sessions left open without a collector on the line end."""
    return SessionView.of(await start_session(service, None, new.golfer_id, new.title))


@router.get("/current", responses=NOT_FOUND)
def current_session(service: ServiceOf) -> SessionView:
    """The open session that started last."""
    session = service.store.sessions.current()
    if session is None:
        raise NotFoundError("open session", "current")
    return SessionView.of(session)


@router.get("/{session_id}", responses=NOT_FOUND)
def get_session(session_id: SessionId, service: ServiceOf) -> SessionView:
    """One session."""
    return SessionView.of(service.store.sessions.get(session_id))


@router.get("/{session_id}/troubles", responses=NOT_FOUND)
def session_troubles(session_id: SessionId, service: ServiceOf) -> list[TroubleView]:
    """When a sensor was silent, slow, losing samples or seemed swapped, in order of time."""
    started_at = service.store.sessions.get(session_id).started_at
    return [TroubleView.of(one, started_at) for one in service.store.troubles.of(session_id)]


@router.post("/{session_id}/close", responses=NOT_FOUND)
async def close_session(session_id: SessionId, service: ServiceOf) -> SessionView:
    """End a session: all that is stored of it is analysed; a collector on the line is told.

    Sensors that this computer's radio streams into it are stopped first.
    """
    if service.radio.session_id == session_id:
        await service.radio.stop()
    session = await finish_session(service, session_id)
    told = [collector.dismiss() for collector in service.collectors_of(session_id)]
    await asyncio.gather(*told, return_exceptions=True)  # one that has just left is not told
    return SessionView.of(session)


@router.post("/{session_id}/marks", status_code=HTTPStatus.CREATED, responses=INPUT)
async def mark_session(session_id: SessionId, mark: MarkInput, service: ServiceOf) -> MarkView:
    """Mark a stretch of time; a stand and the bow after it give a calibration."""
    kept = await add_mark(
        service,
        session_id,
        wire.Mark(kind=mark.kind, start_s=mark.start_s, end_s=mark.end_s),
    )
    return MarkView.of(kept)


@router.post(
    "/{session_id}/marks/now",
    status_code=HTTPStatus.CREATED,
    responses=CONFLICT,
)
async def mark_just_now(session_id: SessionId, mark: MarkNowInput, service: ServiceOf) -> MarkView:
    """Mark the last seconds that both sensors sent; refused while one of them sends nothing."""
    await asyncio.to_thread(service.store.sessions.get, session_id)
    end_s = heard_from_both_to_s(service, session_id)
    start_s = end_s - mark.seconds
    kept = await add_mark(
        service, session_id, wire.Mark(kind=mark.kind, start_s=start_s, end_s=end_s)
    )
    return MarkView.of(kept)
