"""Work that is called off ends before whoever called it off goes on, and is never left behind."""

from __future__ import annotations

import asyncio

import pytest

from sensors.called_off import whole
from tests.support.aside import Aside


class Work:
    """Waits to be let go; notes how it ended."""

    def __init__(self, *, fails: bool = False) -> None:
        self.go = asyncio.Event()
        self.begun = asyncio.Event()
        self.ended: str | None = None
        self._fails = fails

    async def run(self) -> None:
        self.begun.set()
        try:
            await self.go.wait()
            await asyncio.sleep(0)
        except asyncio.CancelledError:
            await asyncio.sleep(0)
            self.ended = "cancelled"
            raise
        self.ended = "whole"
        if self._fails:
            raise OSError("gone")


async def called_off(work, within_s, times=1):
    """Whoever awaits the work, cancelled so many times once it has begun."""
    caller = asyncio.create_task(whole(work.run(), within_s))
    await work.begun.wait()
    for _ in range(times):
        caller.cancel()
        await asyncio.sleep(0)
    return caller


async def test_an_error_of_the_work_is_raised():
    work = Work(fails=True)
    work.go.set()
    with pytest.raises(OSError, match="gone"):
        await whole(work.run(), 1.0)


@pytest.mark.parametrize("fails", [False, True])
async def test_work_that_is_called_off_is_brought_to_its_end_first(fails):
    aside, work = Aside(), Work(fails=fails)
    caller = await called_off(work, 30.0)
    assert not caller.done()
    work.go.set()
    with pytest.raises(asyncio.CancelledError):
        await caller
    assert work.ended == "whole"
    del caller
    assert await aside.all() == []


@pytest.mark.parametrize(("within_s", "times"), [(0.0, 1), (30.0, 2)])
async def test_work_that_does_not_end_in_time_is_cancelled_and_has_ended_too(within_s, times):
    work = Work()
    caller = await called_off(work, within_s, times)
    with pytest.raises(asyncio.CancelledError):
        await caller
    assert work.ended == "cancelled"
