"""What routes ask for."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Path
from starlette.requests import HTTPConnection

from server.models import ID_PATTERN, SWING_ID_PATTERN
from server.service import Service


def get_service(connection: HTTPConnection) -> Service:
    """The service behind this app."""
    service = connection.app.state.service
    assert isinstance(service, Service)
    return service


ServiceOf = Annotated[Service, Depends(get_service)]
GolferId = Annotated[str, Path(pattern=ID_PATTERN, description="Id of a golfer.")]
SessionId = Annotated[str, Path(pattern=ID_PATTERN, description="Id of a session.")]
SwingId = Annotated[
    str, Path(pattern=SWING_ID_PATTERN, description="Id of a swing: session id, dash, number.")
]


def session_and_number(swing_id: str) -> tuple[str, int]:
    """The two parts of a checked swing id."""
    session_id, number = swing_id.split("-")
    return session_id, int(number)
