"""The Sensors page on a phone, emulated sensors within its service's reach, and how to press."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, Page, expect

from analysis.samples import SampleTable
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.wire import SegmentName
from tests.support.bluetooth_rig import BluetoothRig, bluetooth_rig
from tests.support.browser_page import Misdeeds, fresh_context, watched_page
from tests.support.counted_samples import ACCEL_COUNT, ADDRESSES, GYRO_COUNT
from tests.support.service_thread import ServiceThread

RATE_HZ = 200.0
WIDTHS = (360, 390, 820, 1440)
PHONE = {"width": 390, "height": 844}
NAMES: dict[SegmentName, str] = {"pelvis": "torsolog P", "upper_back": "torsolog U"}


@contextlib.contextmanager
def rig_within_reach(service: ServiceThread, *, pair: bool = True) -> Iterator[BluetoothRig]:
    """Two emulated sensors that the service's radio can find; pair False: none yet."""
    context = bluetooth_rig()
    rig = service.do(context.__aenter__())
    try:
        if pair:
            service.do(rig.add_pair())
        yield rig
    finally:
        service.do(context.__aexit__(None, None, None))


@contextlib.contextmanager
def phone_on(browser: Browser, address: str) -> Iterator[tuple[Page, Misdeeds]]:
    """A page as large as a phone, and what it does that it must not."""
    with (
        fresh_context(browser, address, viewport=PHONE) as context,
        watched_page(context, address) as (page, misdeeds),
    ):
        yield page, misdeeds
        assert misdeeds.strangers == []


def overflow(page: Page) -> dict[int, int]:
    """By how many px the page is wider than the window, for each width; a phone again after it."""
    found = {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 844})
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => done()))")
        found[width] = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    page.set_viewport_size(PHONE)
    return found


def choose(page: Page, name: str, segment: SegmentName) -> None:
    """Press the place of a found sensor, and wait until the service has it."""
    button = page.locator(".sensor", has_text=name).locator(f"[data-choose={segment}]")
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")


def find_and_assign(page: Page, names: dict[SegmentName, str] | None = None) -> None:
    """Search, and give both sensors their places."""
    page.get_by_role("button", name="Find sensors").click()
    for segment, name in (names or NAMES).items():
        choose(page, name, segment)


def start(page: Page) -> None:
    """Press Start, and wait until both sensors send at their rate."""
    page.get_by_role("button", name="Start", exact=True).click()
    page.locator(".facts li:first-child", has_text="Hz").nth(1).wait_for()
    expect(page.locator("#calibrate")).to_be_visible()


def end(page: Page) -> None:
    """Stop, and say that it is meant."""
    page.get_by_role("button", name="Stop and end the session").click()
    page.get_by_role("button", name="End it").click()
    expect(page.get_by_role("button", name="Start", exact=True)).to_be_visible()


class WornMotion:
    """A simulated session as counts of the emulated sensors, led in by a while of standing.

    tables: what the sensors measure, without any radio, at the simulation's own times, s.
    """

    def __init__(self, session: SimulatedRangeSession, folder: Path, lead_s: float) -> None:
        self.tables: dict[SegmentName, SampleTable] = {}
        self.lead_s = lead_s
        self._files: dict[SegmentName, str] = {}
        self._first_s: dict[SegmentName, float] = {}
        for segment in ADDRESSES:
            samples = session.sensor(segment)
            gyro, accel = np.rint(samples.gyro / GYRO_COUNT), np.rint(samples.accel / ACCEL_COUNT)
            self.tables[segment] = SampleTable(
                samples.time_s, gyro * GYRO_COUNT, accel * ACCEL_COUNT
            )
            file = folder / f"{segment}.npz"
            np.savez(
                file,
                gyro=_led_in(gyro, lead_s),
                accel=_led_in(accel, lead_s),
            )
            self._files[segment] = str(file)
            self._first_s[segment] = float(samples.time_s[0])

    async def put_on(self, rig: BluetoothRig) -> None:
        """Put both sensors within reach, each with its motion."""
        for segment, address in ADDRESSES.items():
            await rig.add(address, name=NAMES[segment], motion=self._files[segment])

    async def begin(self, rig: BluetoothRig) -> float:
        """The standing begins now; monotonic time of the simulation's zero, s."""
        zero_s = time.monotonic() + self.lead_s
        for segment, address in ADDRESSES.items():
            first_s = zero_s - self.lead_s + self._first_s[segment]
            await rig.order("set", address=address, motion_from_s=first_s)
        return zero_s


def _led_in(counts: np.ndarray, lead_s: float) -> np.ndarray:
    lead = np.repeat(counts[:1], round(lead_s * RATE_HZ), axis=0)
    return np.concatenate((lead, counts)).astype(np.int16)
