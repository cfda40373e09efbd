"""Makes the README's pictures in a real browser: Range after three swings of the demo, and Sensors
while two emulated sensors stream a simulated golfer.

Run as: python -m tests.support.take_picture web/pictures/range.png, or .../sensors.png
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.worn_sensors import worn_sensors
from server.settings import Settings, sqlite_url
from tests.support.browser_page import chromium, fresh_context, watched_page
from tests.support.prove_demo import DemoProcess, first_live_swing
from tests.support.sensors_page import WornMotion, find_and_assign, rig_within_reach, start
from tests.support.service_thread import ServiceThread

SWINGS = 3
SIZE = {"width": 1280, "height": 1020}
WIDE = {"width": 1120, "height": 1020}
LEAD_S = 40.0
"""Standing before the simulation begins, so that the clocks settle."""
SWUNG = re.compile(r"[68]00")
"""Scale of a trace, degrees a second, that only a swing needs."""
WITHIN_MS = 60_000


def take(target: Path) -> None:
    """Start the demo at four times its speed, wait for the swings, take the picture."""
    with tempfile.TemporaryDirectory() as folder:
        demo = DemoProcess([sys.executable, "-m", "server.cli"], Path(folder), "--speed", "4")
        try:
            first_live_swing(demo, SWINGS)
            with (
                chromium() as browser,
                fresh_context(browser, demo.address, viewport=SIZE) as context,
                watched_page(context, demo.address) as (page, misdeeds),
            ):
                page.goto("/")
                page.wait_for_timeout(4000)  # a stretch of live trace to look at
                page.screenshot(path=target)
                assert not misdeeds.errors, misdeeds.errors
                assert not misdeeds.strangers, misdeeds.strangers
        finally:
            demo.end()


def take_sensors(target: Path) -> None:
    """Find, start and calibrate as a practitioner does, and take the picture after a swing."""
    faults = worn_sensors(np.random.default_rng(1), LONG_TURN_GOLFER)
    session = SimulatedRangeSession(PracticePlan(9, busy=0.0), faults, 3, LONG_TURN_GOLFER)
    stand = next(mark for mark in session.marks if mark.kind == "stand")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CONFIG_HOME"] = folder
        service = ServiceThread(Settings(sqlite_url(Path(folder) / "picture.db"), port=0)).start()
        try:
            motion = WornMotion(session, Path(folder), LEAD_S)
            with (
                chromium() as browser,
                fresh_context(browser, service.address, viewport=WIDE) as context,
                watched_page(context, service.address) as (page, misdeeds),
                rig_within_reach(service, pair=False) as rig,
            ):
                service.do(motion.put_on(rig))
                page.goto("/sensors")
                find_and_assign(page)
                zero_s = service.do(motion.begin(rig))
                start(page)
                press_s = zero_s + stand.start_s - 2.5 - time.monotonic()
                page.wait_for_timeout(1e3 * press_s)
                page.get_by_role("button", name="Stand and bow").click()
                page.locator("#calibrate .verdict h3", has_text="Good").wait_for()
                page.locator(".trace-scale", has_text=SWUNG).first.wait_for(timeout=WITHIN_MS)
                page.wait_for_timeout(2000)  # the swing moves to the middle of the trace
                page.mouse.move(0, 0)
                page.evaluate("scrollTo(0, 0)")
                page.screenshot(path=target)
                assert not misdeeds.errors, misdeeds.errors
        finally:
            service.stop()


if __name__ == "__main__":
    aim = Path(sys.argv[1])
    (take_sensors if aim.stem == "sensors" else take)(aim)
