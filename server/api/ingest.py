"""The WebSocket on which collectors send."""

from __future__ import annotations

import asyncio
import contextlib

from fastapi import APIRouter, WebSocket, WebSocketDisconnect

from sensors import wire
from server.api.dependencies import ServiceOf
from server.errors import StoreError
from server.ingest import Collector
from server.sessions import collector_left

router = APIRouter()

NORMAL, WRONG_KIND, POLICY, TRY_LATER = 1000, 1003, 1008, 1013
"""Close codes, RFC 6455 section 7.4.1 and the IANA registry."""


@router.websocket("/api/ingest")
async def ingest(socket: WebSocket, service: ServiceOf) -> None:
    """Frames of sensors.wire both ways, until the collector finishes or the line is lost.

    The one task beside it sends acknowledgements; both end here.
    """
    await socket.accept()
    collector = Collector(service, socket.send_bytes)
    service.collectors.add(collector)
    acknowledging = asyncio.create_task(collector.acknowledge(), name="acknowledge")
    receiving = asyncio.create_task(_receive(socket, collector), name="receive")
    try:
        await asyncio.wait({acknowledging, receiving}, return_when=asyncio.FIRST_COMPLETED)
        code = _ended(acknowledging, receiving)
        if code is not None:
            with contextlib.suppress(RuntimeError, WebSocketDisconnect):
                await socket.close(code)
    finally:
        service.collectors.discard(collector)
        for task in (acknowledging, receiving):
            task.cancel()
        await asyncio.gather(acknowledging, receiving, return_exceptions=True)
        await collector_left(service, collector.session_id)


def _ended(acknowledging: asyncio.Task[None], receiving: asyncio.Task[int]) -> int | None:
    """Code to close the connection with; None: the line is gone."""
    if receiving.done() and not acknowledging.done():
        return receiving.result() if receiving.exception() is None else _code_of(receiving)
    return _code_of(acknowledging)


def _code_of(task: asyncio.Task[None] | asyncio.Task[int]) -> int | None:
    error = task.exception()
    if isinstance(error, StoreError):
        return TRY_LATER
    if error is None or isinstance(error, WebSocketDisconnect):
        return None
    raise error


async def _receive(socket: WebSocket, collector: Collector) -> int:
    """Close code once the collector is done. Raises WebSocketDisconnect when the line is lost."""
    while True:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            raise WebSocketDisconnect(message.get("code", NORMAL))
        frame = message.get("bytes")
        if frame is None:
            refusal = wire.Refusal(
                code="frame", message="expected a binary frame, received text", fatal=True
            )
            await socket.send_bytes(wire.encode(refusal))
            return WRONG_KIND
        if not await collector.receive(frame):
            return NORMAL if collector.finished else POLICY
