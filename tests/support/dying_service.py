"""The service as a process that ends itself with SIGKILL at a chosen commit, or runs on.

    python -m tests.support.dying_service DATABASE PORT [before_commit|after_commit|after_end N]

Before the commit nothing of it may be there afterwards; after it everything must be, although
nobody was told. Commits of every kind count: streams, batches, marks, swings; with after_end only
the one that ends the session. Prints its port once it listens.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from pathlib import Path

from sqlalchemy import event
from sqlalchemy.orm import Session

from server.app import build_app
from server.listening import bind, service
from server.models import RangeSession
from server.settings import Settings, sqlite_url


class Death:
    """Comes with the nth commit, or the nth that ends a session."""

    def __init__(self, point: str, nth: int) -> None:
        self._left = nth
        self._of_an_end = point == "after_end"
        self._ends = False
        event.listen(Session, "after_commit" if self._of_an_end else point, self._commit)
        event.listen(Session, "after_flush", self._flush)

    def _flush(self, session: Session, _context: object) -> None:
        self._ends = any(isinstance(row, RangeSession) and row.ended_at for row in session.dirty)

    def _commit(self, _session: Session) -> None:
        ends, self._ends = self._ends, False
        if self._of_an_end and not ends:
            return
        self._left -= 1
        if self._left == 0:
            os.kill(os.getpid(), signal.SIGKILL)


async def main(database: Path, port: int) -> None:
    """Serve until killed."""
    settings = Settings(sqlite_url(database), port=port, radio=False)
    with bind(settings.host, port) as listener:
        async with service(build_app(settings), listener) as serving:
            print(listener.getsockname()[1], flush=True)
            await serving


if __name__ == "__main__":
    if len(sys.argv) > 3:
        Death(sys.argv[3], int(sys.argv[4]))
    asyncio.run(main(Path(sys.argv[1]), int(sys.argv[2])))
