"""A scan ends cleanly whatever ends it, and leaves nothing on in the system."""

from __future__ import annotations

import asyncio
import contextlib

import pytest

from sensors.bluetooth_obstacles import BLUETOOTH_ERRORS, ObstacleKind, kind_of
from sensors.bluetooth_scan import SensorScan, find
from sensors.profile_library import load_profiles
from tests.support.aside import Aside
from tests.support.bluetooth_rig import PELVIS, bluetooth_rig


async def look(seen, then):
    async with SensorScan(load_profiles()) as scan:
        await scan.changed.wait()
        seen.set()
        await then.wait()


async def test_a_scan_that_is_called_off_after_bluetooth_has_gone_ends_without_a_word():
    aside, seen = Aside(), asyncio.Event()
    async with contextlib.AsyncExitStack() as stack:
        rig = await stack.enter_async_context(bluetooth_rig())
        await rig.add_pair()
        scan = asyncio.create_task(look(seen, asyncio.Event()))
        await seen.wait()
        await stack.aclose()
        scan.cancel()
        with pytest.raises(asyncio.CancelledError):
            await scan
    assert await aside.all() == []


async def test_a_scan_whose_bluetooth_has_gone_raises_that_in_the_end():
    aside, seen, then = Aside(), asyncio.Event(), asyncio.Event()
    async with contextlib.AsyncExitStack() as stack:
        rig = await stack.enter_async_context(bluetooth_rig())
        await rig.add_pair()
        scan = asyncio.create_task(look(seen, then))
        await seen.wait()
        await stack.aclose()
        then.set()
        with pytest.raises(BLUETOOTH_ERRORS) as caught:
            await scan
    assert kind_of(caught.value) is ObstacleKind.NO_SERVICE
    assert await aside.all() == []


@pytest.mark.parametrize("begin", ["scan", "find"])
async def test_a_scan_that_is_called_off_at_any_moment_leaves_none_on(begin):
    work = {
        "scan": lambda: look(asyncio.Event(), asyncio.Event()),
        "find": lambda: find("C0:00:00:00:00:09", 30.0),
    }[begin]
    async with bluetooth_rig() as rig:
        await rig.add_pair()
        assert (await find(PELVIS, 5.0)).address == PELVIS
        for moment in range(30):
            scan = asyncio.create_task(work())
            await asyncio.sleep(moment * 1e-4)
            scan.cancel()
            with pytest.raises(asyncio.CancelledError):
                await scan
        members = [member for _, member in await rig.order("calls")]
        assert members.count("StartDiscovery") == members.count("StopDiscovery") > 1
        assert (await find(PELVIS, 5.0)).address == PELVIS
