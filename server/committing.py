"""Commit, then acknowledge: batches that wait at the same time share one commit."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

from server.errors import StoreError
from server.store import IncomingBatch

log = logging.getLogger(__name__)

QUEUE_LIMIT = 512
"""Batches that may wait; above that, collectors wait (33 MB at the longest batch)."""
GROUP_LIMIT = 128
"""Batches in one commit."""
KNOWN_FOR_S = 30.0
"""Collectors come again after 10 s at most: a trouble not met for so long may be over."""
SETTLED_S = 5.0
"""A disk about to be full takes a small commit now and then; only commits after so long without a
failure say that it has room again."""

_Waiting = tuple[IncomingBatch, "asyncio.Future[int]"]


class GroupCommit:
    """One writer for all collectors.

    append: commits batches in one transaction and gives for each the sequence its stream wants
    next, or raises and commits nothing. `run` is the only task; it ends by being cancelled.
    """

    def __init__(self, append: Callable[[Sequence[IncomingBatch]], list[int]]) -> None:
        self._append = append
        self._queue: asyncio.Queue[_Waiting] = asyncio.Queue(QUEUE_LIMIT)
        self._trouble: str | None = None
        self._failed_at = 0.0

    @property
    def trouble(self) -> str | None:
        """Why the store takes nothing now, in words for people; None: as far as known it does."""
        return self._trouble if time.monotonic() - self._failed_at < KNOWN_FOR_S else None

    def failed(self, error: Exception) -> str:
        """Something could not be stored: what to tell the collector, and everybody who looks."""
        reason = str(error) if isinstance(error, StoreError) else "the store could not keep them"
        words = f"{reason}; samples wait in the collector and are sent again"
        known = self.trouble == words
        self._trouble, self._failed_at = words, time.monotonic()
        if not known:
            log.error("%s", words, exc_info=None if isinstance(error, StoreError) else error)
        return words

    def _kept(self) -> None:
        if self._trouble is not None and time.monotonic() - self._failed_at >= SETTLED_S:
            log.warning("the store takes samples again")
            self._trouble = None

    async def submit(self, batch: IncomingBatch) -> asyncio.Future[int]:
        """Queue a batch; the future gives the outcome once it is on the disk.

        Waits while the queue is full. A cancel before it is queued leaves it out.
        """
        outcome: asyncio.Future[int] = asyncio.get_running_loop().create_future()
        await self._queue.put((batch, outcome))
        return outcome

    async def run(self) -> None:
        """Commit whatever waits until cancelled; a commit under way is brought to its end."""
        loop = asyncio.get_running_loop()
        with ThreadPoolExecutor(1, "torsolog-commit") as thread:
            while True:
                group = [await self._queue.get()]
                while len(group) < GROUP_LIMIT and not self._queue.empty():
                    group.append(self._queue.get_nowait())
                batches = [batch for batch, _ in group]
                try:
                    outcomes = await loop.run_in_executor(thread, self._append, batches)
                except Exception as error:
                    _settle(group, error)
                else:
                    self._kept()
                    _settle(group, outcomes)


def _settle(group: list[_Waiting], result: list[int] | Exception) -> None:
    """Give each waiting collector its outcome; those that have gone are passed over."""
    for index, (_, outcome) in enumerate(group):
        if outcome.done():
            continue
        if isinstance(result, Exception):
            outcome.set_exception(result)
            outcome.exception()  # a collector that has gone does not fetch it, which is no news
        else:
            outcome.set_result(result[index])
