"""The parts of one running service, as one value."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Protocol

from sensors import wire
from server.clock import Clock
from server.committing import GroupCommit
from server.curves import CurveCache
from server.live import LiveSessions
from server.mounting_effects import MountingEffects
from server.publish import Hub
from server.radio import Radio
from server.settings import Settings
from server.status import StatusBoard
from server.store import Store


class ConnectedCollector(Protocol):
    """A collector on the line."""

    @property
    def session_id(self) -> str | None:
        """The session it sends to, once it has said Hello."""
        ...

    async def dismiss(self) -> None:
        """Tell it that its session has ended."""
        ...

    def sends(self, stream_id: str) -> bool:
        """Whether it has named this stream."""
        ...

    async def correct(self, correction: wire.ClockCorrection) -> bool | None:
        """Let it correct a clock; gives whether it did; None: no answer yet."""
        ...


@dataclass(slots=True)
class Service:
    """What routes and collectors work with."""

    settings: Settings
    clock: Clock
    store: Store
    hub: Hub
    commits: GroupCommit
    live: LiveSessions
    curves: CurveCache
    mountings: MountingEffects
    radio: Radio
    opening: asyncio.Lock = field(default_factory=asyncio.Lock)
    """Held while a collector that names no session gets one: two may come with the same streams."""
    boards: dict[str, StatusBoard] = field(default_factory=dict)
    collectors: set[ConnectedCollector] = field(default_factory=set)

    def status(self, session_id: str) -> StatusBoard:
        """Board of a session's streams."""
        return self.boards.setdefault(session_id, StatusBoard())

    def collectors_of(self, session_id: str) -> list[ConnectedCollector]:
        """Collectors on the line that send to a session."""
        return [one for one in self.collectors if one.session_id == session_id]
