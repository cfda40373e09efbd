"""What held the sensors can be said on the Swings page after the session."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.support.sensors_page import WIDTHS, overflow
from tests.support.service_thread import SensorLine
from tests.support.wire_line import STREAMS
from tests.web.conftest import LONG_TURN_GOLFER, stream

PEAK = "pelvis_peak_dps"


def test_said_after_the_session_every_swing_is_analysed_again(empty_page, empty_service):
    session_id = stream(empty_service, "Golfer R.", LONG_TURN_GOLFER)
    peaks = [
        one["metrics"][PEAK] for one in empty_service.get(f"/api/sessions/{session_id}/swings")
    ]
    page = empty_page
    page.goto(f"/swings?session={session_id}&swing={session_id}-2")
    said = page.locator("#session .fixing")
    expect(said.locator("summary")).to_have_text("Sensors held by: not said")
    said.locator("summary").click()
    said.get_by_label("Pelvis sensor held by").select_option(label="a strap or belt")
    said.get_by_role("button", name="Analyse again").click()
    expect(said.locator("summary")).to_have_text(
        "Sensors held by: a strap or belt (pelvis), not said (upper back)"
    )
    expect(page.locator("#detail h2")).to_have_text("Swing 2")
    anew = [one["metrics"][PEAK] for one in empty_service.get(f"/api/sessions/{session_id}/swings")]
    assert all(one < 0.998 * other for one, other in zip(anew, peaks, strict=True))
    shown = page.locator(f".numbers-list [data-column={PEAK}] b")
    expect(shown).to_contain_text(f"{anew[1]:.0f}")
    assert overflow(page) == dict.fromkeys(WIDTHS, 0)


def test_of_an_open_session_nothing_is_said_yet(empty_page, empty_service):
    with SensorLine(empty_service, title="Morning", streams=STREAMS) as line:
        empty_page.goto(f"/swings?session={line.session_id}")
        expect(empty_page.locator("#session [data-part=facts]")).to_contain_text("Morning")
        expect(empty_page.locator("#session .fixing")).to_be_hidden()
