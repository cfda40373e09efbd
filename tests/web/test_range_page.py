"""Range: a swing appears by itself, with its numbers, and trouble is said at once."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from playwright.sync_api import Page, expect

from sensors import wire
from server.settings import Settings, sqlite_url
from tests.support.browser_page import fresh_context, watched_page
from tests.support.service_thread import SensorLine, ServiceThread
from tests.support.wire_line import simulated_messages
from tests.web.conftest import simulated

NUMBER = "#large [data-part=number]"
STATE = "#state"


def before_and_after(swing_number: int):
    """A simulated session in two parts, cut shortly before a swing begins."""
    session = simulated(swings=swing_number)
    cut_s = session.truth[-1].start_s - 0.5
    parts: tuple[list, list] = ([], [])
    for message in simulated_messages(session):
        time_s = message.end_s if isinstance(message, wire.Mark) else message.received_s
        parts[time_s > cut_s].append(message)
    return parts


@pytest.fixture
def line(empty_service):
    """Sensors of an invented golfer on the line of an empty service."""
    golfer = empty_service.add_golfer(name="Golfer R.", handedness="right")
    with SensorLine(empty_service, golfer=golfer, title="Evening") as line:
        yield line


def show_range(page: Page) -> None:
    page.goto("/")
    expect(page.locator(STATE)).not_to_contain_text("Connecting")


def shown_numbers(page: Page) -> dict[str, str]:
    """Column -> text of every tile."""
    tiles = page.locator(".tile")
    return dict(
        tiles.evaluate_all(
            "all => all.map((tile) => [tile.dataset.column, "
            "tile.querySelector('.tile-number').textContent])"
        )
    )


def written(value: float, decimals: int) -> float:
    return float(f"{value:.{decimals}f}")


def test_a_swing_appears_with_its_numbers_without_reloading(empty_page, empty_service, line):
    first, second = before_and_after(2)
    show_range(empty_page)
    empty_page.evaluate("window.loadedOnce = true")
    line.send(first)
    expect(empty_page.locator("#count")).to_have_text("Swing 1")
    line.send(second)
    expect(empty_page.locator("#count")).to_have_text("Swing 2")
    assert empty_page.evaluate("window.loadedOnce")

    swing = empty_service.get(f"api/swings/{line.session_id}-2")
    columns = {column["name"]: column for column in empty_service.get("api/columns")}
    expected = swing["metrics"]["separation_top_deg"]
    expect(empty_page.locator(NUMBER)).to_have_text(f"{expected:.1f}")
    numbers = shown_numbers(empty_page)
    assert len(numbers) == 8
    for name, text in numbers.items():
        shown = float(text.replace("\u2212", "-"))
        assert abs(shown - swing["metrics"][name]) <= 0.501 * 10.0 ** -columns[name]["decimals"]
    expect(empty_page.locator("#announcer")).to_contain_text(
        f"Swing 2. Separation at top: {expected:.1f} degrees"
    )
    expect(empty_page.locator("#who")).to_contain_text("Golfer R.")
    expect(empty_page.locator("#who")).to_contain_text("Evening")
    expect(empty_page.locator("#last-swings tbody tr")).to_have_count(2)


def test_the_live_region_is_polite(empty_page):
    show_range(empty_page)
    expect(empty_page.locator("#announcer")).to_have_attribute("aria-live", "polite")


def test_a_swing_on_range_leads_to_its_detail_on_swings(empty_page, line):
    line.send(list(simulated_messages(simulated(swings=1))))
    show_range(empty_page)
    empty_page.locator("#last-swings tbody a").first.click()
    expect(empty_page.locator("#detail h2")).to_have_text("Swing 1")


def test_the_number_chosen_by_keyboard_is_remembered(page):
    page.goto("/range")
    expect(page.locator("#large h2")).to_have_text("Separation at top")
    tile = page.locator(".tile[data-column=transition_lead_ms]")
    tile.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#large h2")).to_have_text("Transition lead")
    expect(page.locator(".tile[data-column=separation_top_deg]")).to_be_focused()
    page.reload()
    expect(page.locator("#large h2")).to_have_text("Transition lead")


def test_without_a_session_the_page_waits_calmly(empty_page):
    show_range(empty_page)
    expect(empty_page.locator(STATE)).to_have_attribute("data-level", "calm")
    expect(empty_page.locator(STATE)).to_contain_text("No session is open")


def test_sensors_that_fall_silent_are_said_loudly_and_by_name(empty_page, line):
    show_range(empty_page)
    line.send(list(simulated_messages(simulated(swings=0)))[:40])
    expect(empty_page.locator(STATE)).to_have_attribute("data-level", "loud")
    expect(empty_page.locator(STATE)).to_contain_text("Pelvis sensor is silent")
    expect(empty_page.locator(STATE)).to_contain_text("Upper back sensor is silent")


def test_a_session_without_calibration_says_what_to_do(empty_page, line):
    batches = [m for m in simulated_messages(simulated(swings=0)) if not isinstance(m, wire.Mark)]
    show_range(empty_page)
    said = ""
    for first in range(0, len(batches), 4):  # in pieces, so that the sensors do not fall silent
        line.send(batches[first : first + 4])
        said = empty_page.locator(STATE).inner_text()
        if "alibrated" in said:
            break
    assert re.search("not calibrated", said, re.IGNORECASE), said
    assert empty_page.locator(STATE).get_attribute("data-level") == "warn"


def test_a_lost_service_is_said_and_found_again(browser, tmp_path):
    settings = Settings(sqlite_url(tmp_path / "torsolog.db"), port=0)
    service = ServiceThread(settings).start()
    port = int(service.address.rstrip("/").rsplit(":", 1)[1])
    address = service.address
    with (
        fresh_context(browser, address) as context,
        watched_page(context, address) as (page, misdeeds),
    ):
        show_range(page)
        service.stop()
        expect(page.locator(STATE)).to_contain_text("Connection to the service lost")
        expect(page.locator(STATE)).to_have_attribute("data-level", "loud")
        again = ServiceThread(replace(settings, port=port)).start()
        expect(page.locator(STATE)).to_contain_text("No session is open", timeout=15_000)
        again.stop()
        assert misdeeds.strangers == []
