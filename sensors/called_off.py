"""Work of a library that must not be broken off in its middle."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any


async def whole(work: Coroutine[Any, Any, None], within_s: float) -> None:
    """Await work. A cancel comes through once the work has ended, or been cancelled after within_s.

    A second cancel waits for nothing but the end of the cancelled work. Raises what the work does.
    """
    task = asyncio.ensure_future(work)
    try:
        await asyncio.shield(task)
    except asyncio.CancelledError:
        try:
            await asyncio.wait({task}, timeout=within_s)
        finally:
            task.cancel()
            await asyncio.wait({task})
        if not task.cancelled():
            task.exception()  # the cancel goes before it
        raise
