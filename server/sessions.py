"""What happens to a session as a whole: it starts, gets marks, ends. For pages and collectors."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from sensors import wire
from sensors.service_link import ServiceAddress
from server.errors import ConflictError
from server.models import Mark
from server.service import Service
from server.store import NewSession, SessionSummary
from server.views import SessionMessage, SessionView, StreamView


async def start_session(
    service: Service, session_id: str | None, golfer_id: str | None, title: str | None
) -> SessionSummary:
    """The session of this id, or a new one that is open from now on.

    With neither golfer nor title it is the open one that waits for its first sensors, if any:
    opened on the page, and now the collector comes. (The page always gives a title.)
    Sessions that were left open and have no collector on the line end when a new one starts.
    Raises NotFoundError. A cancel may leave the new session open and empty.
    """
    store = service.store
    if session_id is not None:
        return await asyncio.to_thread(store.sessions.get, session_id)
    waiting = None if golfer_id or title else await asyncio.to_thread(_waiting, service)
    if waiting is not None:
        return waiting
    new = NewSession(title or "Range session", service.clock.now(), golfer_id)
    left = await asyncio.to_thread(store.sessions.open_ones)
    session = await asyncio.to_thread(store.sessions.open, new)
    service.hub.opened(session.id, SessionMessage(session=SessionView.of(session)))
    for old in left:
        if not service.collectors_of(old.id):
            await finish_session(service, old.id)
    return session


async def start_sensors(
    service: Service, address: ServiceAddress, golfer_id: str | None, title: str
) -> SessionSummary:
    """A new session into which this computer's sensors stream; address: of this service.

    Raises ConflictError, NotFoundError; no session is then left. A cancel may leave an empty one.
    """
    async with service.radio.starting(address) as begin:
        session = await start_session(service, None, golfer_id, title)
        try:
            begin(session.id)
        except ConflictError:
            ended = await asyncio.to_thread(
                service.store.sessions.take_back, session.id, service.clock.now()
            )
            service.hub.publish(session.id, SessionMessage(session=SessionView.of(ended)))
            raise
    return session


def _waiting(service: Service) -> SessionSummary | None:
    """The open session that no sensor has been declared in yet."""
    current = service.store.sessions.current()
    if current is None or service.store.sessions.streams(current.id):
        return None
    return current


async def add_mark(service: Service, session_id: str, mark: wire.Mark) -> Mark:
    """Keep a mark and let the live analysis look at it. Raises NotFoundError."""
    row = await asyncio.to_thread(service.store.sessions.add_mark, session_id, mark)
    service.live.committed(session_id)
    return row


def heard_from_both_to_s(service: Service, session_id: str) -> float:
    """Session time up to which both sensors have sent, s.

    Raises ConflictError while a sensor is missing or silent: what it would mark is not there.
    """
    return min(one.last_seen_s or 0.0 for one in sending_now(service, session_id).values())


def sending_now(
    service: Service, session_id: str, segments: Sequence[wire.SegmentName] = wire.SEGMENTS
) -> dict[wire.SegmentName, StreamView]:
    """The streams of these segments, all of which send now; last_seen_s is known of each.

    Raises ConflictError while one is missing or silent.
    """
    sending = _sending(service, session_id)
    missing = [name for name in segments if name not in sending]
    if missing:
        named = " and ".join(name.replace("_", " ") for name in missing)
        until = "both stream" if len(segments) > 1 else "it streams"
        raise ConflictError(
            f"The {named} sensor sends nothing now. Switch it on, wait until {until}, and "
            "do this again."
        )
    return {name: sending[name] for name in segments}


def _sending(service: Service, session_id: str) -> dict[wire.SegmentName, StreamView]:
    """The streams of a session that send now, by segment."""
    board = service.boards.get(session_id)
    streams = [] if board is None else board.streams(service.clock.monotonic())
    return {
        stream.segment: stream
        for stream in streams
        if stream.state in ("streaming", "slow") and stream.last_seen_s is not None
    }


async def finish_session(
    service: Service, session_id: str, *, all_sent: bool = False
) -> SessionSummary:
    """Analyse all that is stored of a session, end it, and say so. Raises NotFoundError.

    all_sent: its collector said so. Otherwise a sensor that sends nothing any more, or whose
    collector died, is kept as silent from its last sample on.
    """
    before = await asyncio.to_thread(service.store.sessions.get, session_id)
    if before.open and not all_sent:
        sending = _sending(service, session_id)
        await asyncio.to_thread(service.store.troubles.silent_to_end, session_id, but=sending)
    await service.live.finish(session_id)
    session = await asyncio.to_thread(service.store.sessions.end, session_id, service.clock.now())
    service.boards.pop(session_id, None)
    service.hub.publish(session_id, SessionMessage(session=SessionView.of(session)))
    return session


async def collector_left(service: Service, session_id: str | None) -> None:
    """A connection ended. What came late for a session that has ended is analysed now."""
    if session_id is None or service.collectors_of(session_id):
        return
    session = await asyncio.to_thread(service.store.sessions.get, session_id)
    if session.open:
        return
    service.boards.pop(session_id, None)
    if service.live.holds(session_id):
        await service.live.finish(session_id)
