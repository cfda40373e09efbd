"""Sensors: found, assigned, streamed and calibrated from a page, over the real Bluetooth client."""

from __future__ import annotations

import contextlib
import re
from dataclasses import replace

import pytest
from playwright.sync_api import expect

from sensors import wire
from server.settings import Settings, sqlite_url
from tests.support.bluetooth_rig import bluetooth_rig
from tests.support.browser_page import fresh_context, watched_page
from tests.support.service_thread import SensorLine, ServiceThread
from tests.support.wire_line import STREAMS, batch, simulated_messages
from tests.web.conftest import simulated

WIDTHS = (360, 390, 820, 1440)
PHONE = {"width": 390, "height": 844}


@pytest.fixture(autouse=True)
def _own_configuration(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@contextlib.contextmanager
def rig_within_reach(service):
    """Two emulated sensors that the service's radio can find."""
    context = bluetooth_rig()
    rig = service.do(context.__aenter__())
    try:
        service.do(rig.add_pair())
        yield rig
    finally:
        service.do(context.__aexit__(None, None, None))


@contextlib.contextmanager
def phone_on(browser, address):
    """A page as large as a phone, and what it does that it must not."""
    with (
        fresh_context(browser, address, viewport=PHONE) as context,
        watched_page(context, address) as (page, misdeeds),
    ):
        yield page, misdeeds
        assert misdeeds.strangers == []


@pytest.fixture
def phone(browser, empty_service):
    """A phone on a service of its own; it must have met no error."""
    with phone_on(browser, empty_service.address) as (page, misdeeds):
        yield page
        assert misdeeds.errors == []


def overflow(page):
    """By how many px the page is wider than the window, for each width."""
    found = {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 844})
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => done()))")
        found[width] = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    return found


def choose(page, name, segment):
    """Press the place of a found sensor, and wait until the service has it."""
    button = page.locator(".sensor", has_text=name).locator(f"[data-choose={segment}]")
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")


def test_sensors_are_found_assigned_started_and_stopped(phone, empty_service):
    empty_service.add_golfer(name="Golfer R.")
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        expect(phone.locator("#state .state-text")).to_contain_text("press Find sensors")
        phone.get_by_role("button", name="Find sensors").click()
        expect(phone.locator(".sensor")).to_have_count(2)
        expect(phone.locator(".sensor .signal").first).to_contain_text(re.compile(r"dBm"))
        start = phone.get_by_role("button", name="Start", exact=True)
        expect(start).to_be_disabled()
        choose(phone, "torsolog P", "pelvis")
        choose(phone, "torsolog U", "upper_back")
        expect(phone.locator("#state .state-text")).to_have_text(
            "Both sensors are assigned. Press Start."
        )
        assert overflow(phone) == dict.fromkeys(WIDTHS, 0)
        phone.get_by_label("Golfer").select_option(label="Golfer R.")
        phone.get_by_label("Title").fill("Morning")
        start.click()
        expect(phone.locator("#start [data-part=who]")).to_have_text("Morning, Golfer R.")
        rates = phone.locator(".facts li:first-child")
        expect(rates).to_have_text([re.compile(r"^(19|20)\d\sHz$")] * 2)
        assert overflow(phone) == dict.fromkeys(WIDTHS, 0)
        phone.get_by_role("button", name="Stop and end the session").click()
        expect(start).to_be_enabled()
        assert [one["open"] for one in empty_service.get("/api/sessions")] == [False]


def test_sensors_worn_the_wrong_way_round_are_stopped_and_swapped(phone, empty_service):
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        phone.get_by_role("button", name="Find sensors").click()
        choose(phone, "torsolog P", "upper_back")
        choose(phone, "torsolog U", "pelvis")
        phone.get_by_role("button", name="Start", exact=True).click()
        phone.get_by_role("button", name="Wrong way round").click()
        expect(phone.get_by_role("button", name="Start", exact=True)).to_be_enabled()
        book = empty_service.get("/api/sensors")["sensors"]
        assert {one["name"]: one["segment"] for one in book} == {
            "torsolog P": "pelvis",
            "torsolog U": "upper_back",
        }


def test_a_radio_that_is_off_is_said_with_what_to_do(browser, tmp_path):
    settings = Settings(sqlite_url(tmp_path / "torsolog.db"), port=0)
    service = ServiceThread(replace(settings, radio=False)).start()
    try:
        with phone_on(browser, service.address) as (page, misdeeds):
            page.goto("/sensors")
            expect(page.locator("#state")).to_have_attribute("data-level", "warn")
            expect(page.locator("#state .state-text")).to_contain_text("torsolog serve --radio")
            expect(page.get_by_role("button", name="Find sensors")).to_be_disabled()
            expect(page.locator("#start")).to_be_hidden()
            assert misdeeds.errors == []
    finally:
        service.stop()


def test_a_simulated_session_shows_its_streams_and_that_no_bluetooth_is_used(phone, empty_service):
    streams = tuple(
        wire.Stream(
            stream_id=one.stream_id, segment=one.segment, sensor="simulated", rate_hz=one.rate_hz
        )
        for one in STREAMS
    )
    with SensorLine(empty_service, title="Played", streams=streams) as line:
        line.send([batch(0, "pelvis-1"), batch(0, "upper-back-1")])
        phone.goto("/sensors")
        expect(phone.locator(".sensor")).to_have_count(2)
        expect(phone.locator("#find [data-part=note]")).to_contain_text(
            "no Bluetooth sensor is used"
        )
        expect(phone.get_by_role("button", name="Find sensors")).to_be_hidden()
        expect(phone.locator("#start")).to_be_hidden()
        assert overflow(phone) == dict.fromkeys(WIDTHS, 0)


def test_a_calibration_gets_its_verdict_when_it_comes(phone, empty_service):
    phone.goto("/sensors")
    expect(phone.locator("#calibrate")).to_be_hidden()
    with SensorLine(empty_service, title="Played") as line:
        line.send(list(simulated_messages(simulated(swings=1))))
        verdict = phone.locator("#calibrate [data-part=verdict]")
        expect(verdict.locator("h3")).to_have_text("Good")


def test_a_bow_that_is_none_is_to_be_repeated_and_why(phone, empty_service):
    """The emulated sensors count instead of being worn, so that there is no bow in them."""
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        phone.get_by_role("button", name="Find sensors").click()
        choose(phone, "torsolog P", "pelvis")
        choose(phone, "torsolog U", "upper_back")
        phone.get_by_role("button", name="Start", exact=True).click()
        expect(phone.locator(".facts li:first-child")).to_have_text([re.compile(r"\d\sHz$")] * 2)
        verdict = phone.locator("#calibrate [data-part=verdict]")
        phone.locator("#calibrate [data-part=stand]").click()
        expect(verdict).to_contain_text("Now press Bow.")
        phone.locator("#calibrate [data-part=bow]").click()
        expect(verdict.locator("h3")).to_have_text("Repeat")
        expect(verdict).to_contain_text("Repeat: ")
        phone.get_by_role("button", name="Stop and end the session").click()
        expect(phone.locator("#calibrate")).to_be_hidden()


def test_a_silent_stream_is_said_loudly(phone, empty_service):
    with SensorLine(empty_service) as line:
        line.send([batch(0, "pelvis-1"), batch(0, "upper-back-1")])
        phone.goto("/sensors")
        expect(phone.locator("#state")).to_have_attribute("data-level", "loud")
        expect(phone.locator("#state .state-text")).to_contain_text(
            "is silent: check that it is on."
        )


def test_a_stand_while_nothing_streams_is_refused_in_words(browser, empty_service):
    with (
        phone_on(browser, empty_service.address) as (page, misdeeds),
        SensorLine(empty_service) as line,
    ):
        page.clock.install()
        line.send([batch(0, "pelvis-1"), batch(0, "upper-back-1")])
        page.goto("/sensors")
        expect(page.locator("#state")).to_have_attribute("data-level", "loud")
        page.locator("#calibrate [data-part=stand]").click()
        expect(page.locator("#calibrate [data-part=count]")).to_have_text("Get ready: 3")
        page.clock.run_for(6000)
        verdict = page.locator("#calibrate [data-part=verdict]")
        expect(verdict).to_contain_text("sends nothing now")
        expect(page.locator("#calibrate [data-part=bow]")).to_be_disabled()
        assert len(misdeeds.errors) == 1, "the browser notes the refusal, and nothing else"
        assert "409 (Conflict)" in misdeeds.errors[0]


def test_everything_is_worked_by_keyboard(phone, empty_service):
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        expect(phone.get_by_role("button", name="Find sensors")).to_be_enabled()
        for _ in range(6):  # skip link, brand, three pages, then the search
            phone.keyboard.press("Tab")
        phone.keyboard.press("Enter")
        expect(phone.locator(".sensor")).to_have_count(2)
        place = phone.locator(".sensor", has_text="torsolog P").locator("[data-choose=pelvis]")
        place.focus()
        phone.keyboard.press("Space")
        expect(place).to_have_attribute("aria-pressed", "true")
        expect(place).to_be_focused()
