"""Ending a process in order when it is asked to."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def stop_signals() -> Iterator[asyncio.Event]:
    """An event that Ctrl-C or a request to end the process sets, instead of breaking off.

    The second one cancels the task that waits in the block.
    """
    loop = asyncio.get_running_loop()
    task = asyncio.current_task()
    stop = asyncio.Event()
    wanted = (signal.SIGINT, signal.SIGTERM)

    def stop_or_cancel() -> None:
        if stop.is_set() and task is not None:
            task.cancel()
        stop.set()

    def on_signal(_number: int, _frame: object) -> None:
        loop.call_soon_threadsafe(stop_or_cancel)

    before = {number: signal.signal(number, on_signal) for number in wanted}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
