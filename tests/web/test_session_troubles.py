"""Swings says what was wrong with the sensors in the session that stands open."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.support.service_thread import SensorLine
from tests.support.wire_line import batch


def test_nothing_is_said_where_there_was_no_trouble(page, club):
    page.goto(f"/swings?session={club.right}")
    expect(page.locator("#session tbody tr")).to_have_count(3)
    expect(page.locator("#session [data-part=troubles]")).to_be_hidden()


def test_a_silent_sensor_is_named_with_how_long_and_when(empty_page, empty_service):
    with SensorLine(empty_service) as line:
        line.send([batch(0, "upper-back-1"), batch(1, "upper-back-1", start_s=4.195)])
    empty_page.goto(f"/swings?session={line.session_id}")
    lines = empty_page.locator("#session [data-part=troubles] li")
    expect(lines).to_have_count(1)
    expect(lines).to_have_text(
        re.compile(r"^Upper back sensor silent for 4\.2 s at \d\d:\d\d:\d\d$")
    )
