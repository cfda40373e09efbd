"""Live analysis of open sessions, in a thread of its own, never on the event loop.

It reads what was committed from the store, so that it sees what a later analysis will see, and
goes on after a restart of the service in the same way as it began.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial

from server.clock import Clock
from server.live_session import LiveSession, Progress
from server.publish import Hub
from server.store import Store
from server.views import LiveMessage

log = logging.getLogger(__name__)

LOOK_EVERY_S = 0.05
"""What is committed within so long is analysed in one go: each look costs some ten queries, whose
waits on one interpreter slow the commits down. Pages are shown traces half as often."""


class LiveSessions:
    """Keeps a LiveSession for each session that gets data. All calls on the event loop."""

    def __init__(self, store: Store, hub: Hub, clock: Clock) -> None:
        self._store = store
        self._hub = hub
        self._clock = clock
        self._thread: ThreadPoolExecutor
        self._sessions: dict[str, LiveSession] = {}
        self._waiting: set[str] = set()
        self._running: set[str] = set()
        self._looked_s: dict[str, float] = {}

    def start(self) -> None:
        """Start the thread; once before anything else, and once more after each `stop`."""
        self._thread = ThreadPoolExecutor(1, "torsolog-analysis")

    def committed(self, session_id: str) -> None:
        """Batches or marks of a session are on the disk: analyse them soon."""
        self._waiting.add(session_id)
        if session_id in self._running:
            return
        self._running.add(session_id)
        loop = asyncio.get_running_loop()
        since_s = loop.time() - self._looked_s.get(session_id, float("-inf"))
        loop.call_later(max(0.0, LOOK_EVERY_S - since_s), self._look, session_id)

    def _look(self, session_id: str) -> None:
        if session_id not in self._running:  # stopped meanwhile
            return
        self._waiting.discard(session_id)
        loop = asyncio.get_running_loop()
        self._looked_s[session_id] = loop.time()
        work = loop.run_in_executor(self._thread, self._session(session_id, loop).advance)
        work.add_done_callback(partial(self._advanced, session_id))

    def holds(self, session_id: str) -> bool:
        """Whether a session has an analysis under way."""
        return session_id in self._sessions

    def progress(self, session_id: str) -> Progress | None:
        """How far the analysis of a session has come; None: none is under way."""
        session = self._sessions.get(session_id)
        return None if session is None else session.progress()

    async def finish(self, session_id: str) -> None:
        """Analyse all that is stored of a session and let it go.

        A cancel leaves the work to go on in its thread.
        """
        loop = asyncio.get_running_loop()
        session = self._session(session_id, loop)
        try:
            await loop.run_in_executor(self._thread, session.finish)
        finally:
            self._sessions.pop(session_id, None)
            self._waiting.discard(session_id)
            self._looked_s.pop(session_id, None)

    def stop(self) -> None:
        """Let the work under way end; what is left is found again at the next start."""
        self._waiting.clear()
        for session in self._sessions.values():
            session.halt()
        self._thread.shutdown(wait=True, cancel_futures=True)
        self._sessions.clear()
        self._running.clear()

    def _advanced(self, session_id: str, work: asyncio.Future[bool]) -> None:
        self._running.discard(session_id)
        if work.cancelled():
            return
        error = work.exception()
        if error is not None:
            log.error("live analysis of session %s stopped", session_id, exc_info=error)
            self._sessions.pop(session_id, None)
        elif work.result():
            self._running.add(session_id)
            self._look(session_id)
        elif session_id in self._waiting:
            self.committed(session_id)

    def _session(self, session_id: str, loop: asyncio.AbstractEventLoop) -> LiveSession:
        known = self._sessions.get(session_id)
        if known is None:
            known = LiveSession(
                self._store, session_id, self._publisher(session_id, loop), self._clock
            )
            self._sessions[session_id] = known
        return known

    def _publisher(
        self, session_id: str, loop: asyncio.AbstractEventLoop
    ) -> Callable[[LiveMessage | None], None]:
        def publish(message: LiveMessage | None) -> None:
            loop.call_soon_threadsafe(self._hub.publish, session_id, message)

        return publish
