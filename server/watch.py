"""Once a second, and at once when one changes: how the sensors are doing."""

from __future__ import annotations

import asyncio

from sensors.wire import StreamState
from server.lateness import lateness
from server.service import Service
from server.views import StatusMessage

EVERY_S = 1.0
LOOK_EVERY_S = 0.25
AWAY_FROM_S = 0.25
"""A look that is late by more: this computer was too busy, or asleep."""

_Told = tuple[dict[str, StreamState], str | None, bool]


async def watch(service: Service) -> None:
    """Publish the state of every expected stream until cancelled."""
    said: dict[str, tuple[float, _Told]] = {}
    loop = asyncio.get_running_loop()
    due_s = loop.time()
    while True:
        now, late_s = service.clock.monotonic(), loop.time() - due_s
        said = {session_id: was for session_id, was in said.items() if session_id in service.boards}
        for session_id, board in service.boards.items():
            if late_s > AWAY_FROM_S:
                board.was_away(late_s)
            streams = board.streams(now)
            trouble = service.commits.trouble
            late = lateness(board, service.live.progress(session_id))
            told = {stream.stream_id: stream.state for stream in streams}, trouble, bool(late)
            said_at, was = said.get(session_id, (float("-inf"), None))
            if told != was or now - said_at >= EVERY_S:
                said[session_id] = (now, told)
                message = StatusMessage(streams=streams, trouble=trouble, late=late)
                service.hub.publish(session_id, message)
        due_s = loop.time() + LOOK_EVERY_S
        await asyncio.sleep(LOOK_EVERY_S)
