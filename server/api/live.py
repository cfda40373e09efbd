"""The WebSockets on which browsers listen."""

from __future__ import annotations

import asyncio
from typing import Annotated

from fastapi import APIRouter, Path, WebSocket, WebSocketDisconnect

from server.api.dependencies import ServiceOf
from server.errors import NotFoundError
from server.models import ID_PATTERN
from server.publish import Subscriber
from server.service import Service
from server.views import HelloMessage, SessionView, SwingView

router = APIRouter()

SHOWN_SWINGS = 50
POLICY = 1008


@router.websocket("/api/live")
async def live(socket: WebSocket, service: ServiceOf) -> None:
    """Follow the open session, and the next one when it opens."""
    session = await asyncio.to_thread(service.store.sessions.current)
    await _serve(socket, service, session.id if session else None, follows=True)


@router.websocket("/api/sessions/{session_id}/live")
async def live_session(
    socket: WebSocket,
    session_id: Annotated[str, Path(pattern=ID_PATTERN)],
    service: ServiceOf,
) -> None:
    """Follow one session."""
    try:
        await asyncio.to_thread(service.store.sessions.get, session_id)
    except NotFoundError as error:
        await socket.close(POLICY, str(error))
        return
    await _serve(socket, service, session_id, follows=False)


async def _serve(
    socket: WebSocket, service: Service, session_id: str | None, *, follows: bool
) -> None:
    """Send until the reader goes. Its sending task ends here."""
    await socket.accept()
    subscriber = service.hub.subscribe(session_id, follows=follows)
    sending = asyncio.create_task(_send(socket, service, subscriber), name="live channel")
    reading = asyncio.create_task(_read(socket), name="live channel reader")
    try:
        await asyncio.wait({sending, reading}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        service.hub.unsubscribe(subscriber)
        for task in (sending, reading):
            task.cancel()
        results = await asyncio.gather(sending, reading, return_exceptions=True)
    for result in results:
        if isinstance(result, Exception) and not isinstance(
            result, WebSocketDisconnect | RuntimeError
        ):
            raise result


async def _send(socket: WebSocket, service: Service, subscriber: Subscriber) -> None:
    while True:
        message = await subscriber.next() or await _hello(service, subscriber.session_id)
        await socket.send_text(message.model_dump_json())


async def _read(socket: WebSocket) -> None:
    """A browser says nothing here; only its going is of interest."""
    while (await socket.receive())["type"] != "websocket.disconnect":
        continue


async def _hello(service: Service, session_id: str | None) -> HelloMessage:
    if session_id is None:
        return HelloMessage(session=None, swings=[], streams=[])
    session = await asyncio.to_thread(service.store.sessions.get, session_id)
    records = await asyncio.to_thread(service.store.swings.of_session, session_id, SHOWN_SWINGS)
    board = service.boards.get(session_id)
    return HelloMessage(
        session=SessionView.of(session),
        swings=[SwingView.of(record) for record in records],
        streams=board.streams(service.clock.monotonic()) if board else [],
    )
