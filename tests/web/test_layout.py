"""The pages fit every screen: no sideways scrolling, and what is to be pressed can be pressed."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.support.browser_page import fresh_context, watched_page

WIDTHS = (360, 390, 820, 1440)
PAGES = {
    "/range": "#last-swings tbody tr",
    "/swings": "#detail .chart .js-line",
    "/sensors": "#find [data-part=scan]:enabled",
}
LEAST_TARGET_PX = 24
"""WCAG 2.2, 2.5.8 Target Size (Minimum), level AA."""


@pytest.fixture(scope="module", params=["light", "dark"])
def page(request, browser, club):
    address = club.service.address
    with (
        fresh_context(browser, address, color_scheme=request.param) as context,
        watched_page(context, address) as (page, misdeeds),
    ):
        yield page
        assert misdeeds.errors == []


@pytest.mark.parametrize("path", PAGES)
def test_no_page_scrolls_sideways(page, club, path):
    page.goto(f"{path}?session={club.right}")
    expect(page.locator(PAGES[path]).first).to_be_attached()
    overflow = {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => done()))")
        overflow[width] = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert overflow == dict.fromkeys(WIDTHS, 0)


@pytest.mark.parametrize("path", PAGES)
def test_what_is_pressed_is_large_enough(page, club, path):
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{path}?session={club.right}")
    expect(page.locator(PAGES[path]).first).to_be_attached()
    small = page.locator("button:visible, .button:visible, nav a:visible").evaluate_all(
        """(all, least) => all.map((one) => [one.textContent, one.getBoundingClientRect()])
             .filter(([, box]) => Math.min(box.width, box.height) < least)
             .map(([text]) => text)""",
        LEAST_TARGET_PX,
    )
    assert small == []


def test_the_theme_follows_the_system(page, club):
    page.goto("/range")
    scheme = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light'")
    ground = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    red = int(ground.removeprefix("rgb(").split(",")[0])
    assert (red < 64) == (scheme == "dark")


def test_the_large_number_is_read_from_three_metres(page, club):
    """Letters of a 3 m line: 5 minutes of arc are 4.4 mm (Snellen); ours are eight times as tall.

    On a 1440 px wide laptop screen of 310 mm a pixel is 0.215 mm, so 35 mm are 163 px; a digit is
    about 0.7 of the type size.
    """
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(f"/range?session={club.right}")
    expect(page.locator("#count")).to_have_text("Swing 3")
    size = page.locator(".large-value").evaluate(
        "one => parseFloat(getComputedStyle(one).fontSize)"
    )
    assert 0.7 * size >= 163
    box = page.locator("#large").evaluate("one => one.scrollWidth - one.clientWidth")
    assert box <= 0
