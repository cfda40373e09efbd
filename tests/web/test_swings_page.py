"""Swings: a session's swings as a table, one of them in detail, the same numbers as CSV."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

SHOWN = "#session tbody tr"


def number(text: str) -> float:
    """A number as the page writes it, with a true minus."""
    return float(text.replace("\u2212", "-"))


def open_session(page: Page, session_id: str, swing: int | None = None) -> None:
    wish = "" if swing is None else f"&swing={session_id}-{swing}"
    page.goto(f"/swings?session={session_id}{wish}")
    expect(page.locator(SHOWN)).to_have_count(3)
    expect(page.locator("#detail .chart .js-line").first).to_be_attached()


def test_the_newest_session_and_its_last_swing_stand_open(page, club):
    page.goto("/swings")
    expect(page.locator("#session h2")).to_contain_text("Golfer L.")
    expect(page.locator("#detail h2")).to_have_text("Swing 3")
    expect(page.locator("#sessions li")).to_have_count(2)


def test_a_deep_link_opens_the_swing_it_names(page, club):
    open_session(page, club.right, 2)
    expect(page.locator("#detail h2")).to_have_text("Swing 2")
    expect(page.locator("tr[aria-current=true] th")).to_have_text("2")


def test_every_number_of_the_panel_is_the_services_number(page, club):
    open_session(page, club.right, 1)
    swing = club.service.get(f"api/swings/{club.right}-1")
    columns = {column["name"]: column for column in club.service.get("api/columns")}
    compared = 0
    for name, value in swing["metrics"].items():
        if name in ("swing", "quality") or not isinstance(value, float):
            continue
        column = columns[name]
        shown = page.locator(f".numbers-list [data-column={name}] b").inner_text()
        digits = re.match(r"[\u2212\d.]+", shown)
        assert digits, shown
        half_a_step = 0.5 * 10.0 ** -column["decimals"]
        assert number(digits.group()) == pytest.approx(value, abs=half_a_step * 1.001), name
        assert column["unit"] in shown
        compared += 1
    assert compared > 20


def test_an_estimate_says_so(page, club):
    open_session(page, club.right)
    estimates = page.locator(".numbers-list > div", has=page.locator(".estimate"))
    names = estimates.evaluate_all("rows => rows.map((row) => row.dataset.column)")
    expected = {c["name"] for c in club.service.get("api/columns") if c["estimate"]}
    assert set(names) == {name for name in names if name in expected}
    assert "impact_s" in names


def test_the_csv_downloads_and_holds_the_tables_numbers(page, club):
    open_session(page, club.right)
    with page.expect_download() as download:
        page.get_by_role("link", name="Download CSV").click()
    assert download.value.suggested_filename.endswith(".csv")
    with Path(download.value.path()).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["swing"] for row in rows] == ["1", "2", "3"]
    compared = 0
    for row, line in zip(rows, page.locator(SHOWN).all(), strict=True):
        for cell in line.locator("td[data-column]").all():
            name = cell.get_attribute("data-column")
            shown = cell.inner_text()
            decimals = len(shown.partition(".")[2])
            half_a_step = 0.5 * 10.0**-decimals
            assert number(shown) == pytest.approx(float(row[name]), abs=half_a_step * 1.001), name
            compared += 1
    assert compared == 33


def test_headings_sort_by_keyboard_and_keep_the_focus(page, club):
    open_session(page, club.right)
    heading = page.locator("#session th button[data-key=pelvis_peak_dps]")
    heading.focus()
    page.keyboard.press("Enter")
    expect(heading).to_be_focused()
    expect(page.locator("th[aria-sort=ascending] button")).to_have_attribute(
        "data-key", "pelvis_peak_dps"
    )
    cells = page.locator(f"{SHOWN} td[data-column=pelvis_peak_dps]")
    rising = [number(text) for text in cells.all_inner_texts()]
    assert rising == sorted(rising)
    page.keyboard.press("Enter")
    expect(page.locator("th[aria-sort=descending]")).to_have_count(1)
    assert [number(text) for text in cells.all_inner_texts()] == rising[::-1]


def test_a_swing_opens_by_keyboard_and_the_way_back_leads_back(page, club):
    open_session(page, club.right, 3)
    page.locator(f"{SHOWN} a").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#detail h2")).to_have_text("Swing 1")
    assert page.url.endswith(f"swing={club.right}-1")
    page.go_back()
    expect(page.locator("#detail h2")).to_have_text("Swing 3")


def test_the_slider_moves_overhead_view_and_cursor_together(page, club):
    open_session(page, club.right, 1)
    slider = page.get_by_role("slider", name="Moment of the swing")
    cursor = page.locator(".chart-cursor")
    before = cursor.get_attribute("style")
    expect(slider).to_have_attribute("aria-valuetext", re.compile("^at the top"))
    shoulders = page.locator(".overhead-shoulders")
    at_top = shoulders.get_attribute("x1")
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    expect(slider).to_have_attribute("aria-valuetext", re.compile("^50 ms after the top"))
    assert cursor.get_attribute("style") != before
    assert shoulders.get_attribute("x1") != at_top


def test_the_charts_take_arrow_keys_too(page, club):
    open_session(page, club.right, 1)
    page.locator("figure.chart").focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator(".moment")).to_contain_text("10 ms before the top")


def test_an_event_of_the_table_moves_the_moment(page, club):
    open_session(page, club.right, 1)
    page.get_by_role("button", name="pelvis starts down").click()
    expect(page.locator(".moment")).to_contain_text("before the top")


def test_playing_runs_on_and_pauses(page, club):
    open_session(page, club.right, 1)
    page.get_by_role("button", name="Play").click()
    expect(page.locator(".moment")).to_contain_text("after the top")
    page.get_by_role("button", name="Pause").click()
    expect(page.get_by_role("button", name="Play")).to_be_visible()


@pytest.mark.parametrize(("session", "side"), [("right", -1), ("left", 1)])
def test_seen_from_above_the_target_is_on_the_lead_side(page, club, session, side):
    """A right-hander's target is to the golfer's left; who faces up the page has it at the left."""
    open_session(page, getattr(club, session), 1)
    tip = page.locator(".overhead-tip").get_attribute("d")
    assert int(re.match(r"M(-?\d+)", tip).group(1)) * side > 0
    ends = page.locator(".overhead-shoulders").evaluate(
        "line => ['x1', 'y1', 'y2'].map((name) => Number(line.getAttribute(name)))"
    )
    lead_x, lead_y, trail_y = ends
    assert lead_y < 0 < trail_y, "at the top the lead shoulder has come toward the ball"
    assert abs(lead_x) < 108


def test_every_event_is_named_in_the_charts(page, club):
    open_session(page, club.right, 1)
    names = page.locator(".chart .annotation-text").all_text_contents()
    for event in ("takeaway", "pelvis starts down", "top", "most separation"):
        assert event in names
    assert any(name.startswith("impact") for name in names)


def test_an_unknown_session_is_said_in_plain_words(club_context):
    page = club_context.new_page()  # not watched: the browser itself logs an answer of 404
    page.goto("/swings?session=000000000000")
    expect(page.locator("#message")).to_contain_text("000000000000")
    expect(page.get_by_role("button", name="Try again")).to_be_visible()
    page.close()


def test_without_sessions_the_page_says_how_one_comes_about(empty_page):
    empty_page.goto("/swings")
    expect(empty_page.locator("#message")).to_contain_text("No sessions yet")


def test_print_leaves_out_what_cannot_be_pressed(page, club):
    open_session(page, club.right, 1)
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Play")).to_be_hidden()
    expect(page.locator(".numbers-panel")).to_be_visible()
    assert page.pdf().startswith(b"%PDF")
