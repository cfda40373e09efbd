"""Swings: how a session went and what changed since an earlier one, beside the service."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import expect

from analysis.results import Flag, Interval, Swing
from server.settings import Settings, sqlite_url
from server.store import NewGolfer, NewSession, Store
from tests.support.browser_page import fresh_context, watched_page
from tests.support.service_thread import ServiceThread

NOW = datetime(2026, 5, 20, 9, 30, tzinfo=UTC)
LEADS = (21, 25, 23, 19, 27, 22, 24, 20, 26, 23, 22, 25)
"""Leads of the first day, ms; on the second they are longer by 22 and the turn is the same."""
GAP = Flag("gap", "The pelvis sensor lost 40 ms within the swing.")
DWELL = Flag("dwell", "The pelvis dwells at its reversal: its time is known to 9 ms.", spoils=False)
LEAD = "transition_lead_ms"
WIDTHS = (360, 390, 820, 1440)


@dataclass(frozen=True)
class Invented:
    """A service with two sessions of one golfer and one of another; their ids."""

    service: ServiceThread
    before: str
    after: str
    alone: str


def swing(number: int, lead: float, flags: tuple[Flag, ...]) -> Swing:
    """An invented swing without samples; a struck ball, so that impact is no estimate."""
    start_s = 20.0 * number
    metrics = {
        LEAD: lead,
        "pelvis_turn_top_deg": -50.0 - number % 3,
        "tempo": 3.0,
        "impact_s": start_s + 15.0,
        "impact_method": "strike",
    }
    uncertainty = {LEAD: 9.0 if DWELL in flags else 1.5, "pelvis_turn_top_deg": 0.6}
    window = Interval(start_s, start_s + 18.0)
    return Swing(number, window, {"top_s": start_s + 14.0}, metrics, uncertainty, flags)


def add_session(store: Store, golfer: str, days_ago: int, longer_by: float) -> str:
    """Id of an ended session; of a later one swing 4 is spoilt and the last one dwells."""
    started_at = NOW - timedelta(days=days_ago)
    new = NewSession("A range session with a rather long title of its own", started_at, golfer)
    session_id = store.sessions.open(new).id
    flags = {4: (GAP,), 12: (DWELL,)} if longer_by else {}
    for number, lead in enumerate(LEADS, start=1):
        store.swings.put(session_id, swing(number, lead + longer_by, flags.get(number, ())))
    store.sessions.end(session_id, started_at + timedelta(hours=1))
    return session_id


@pytest.fixture(scope="module")
def invented(tmp_path_factory):
    url = sqlite_url(tmp_path_factory.mktemp("invented") / "torsolog.db")
    store = Store(url)
    one, other = (store.golfers.add(NewGolfer(name), NOW).id for name in ("Golfer A.", "Golfer B."))
    before, after = add_session(store, one, 30, 0.0), add_session(store, one, 1, 22.0)
    alone = add_session(store, other, 20, 0.0)
    store.close()
    service = ServiceThread(Settings(url, port=0)).start()
    yield Invented(service, before, after, alone)
    service.stop()


@pytest.fixture(scope="module", params=["light", "dark"])
def page(request, browser, invented):
    address = invented.service.address
    with (
        fresh_context(browser, address, color_scheme=request.param) as context,
        watched_page(context, address) as (page, misdeeds),
    ):
        # swings without samples have no curves: the browser itself logs that answer
        page.route("**/curves", lambda route: route.fulfill(status=204))
        yield page
        assert misdeeds.errors == []
        assert misdeeds.strangers == []


def open_session(page, session_id, before=None):
    page.goto(f"/swings?session={session_id}" + (f"&before={before}" if before else ""))
    expect(page.locator("#change tbody tr")).to_have_count(8)


def number(text):
    return float(text.replace("\u2212", "-").replace("\u00b1\u00a0", ""))


def test_this_session_shows_the_services_mean_and_spread(page, invented):
    open_session(page, invented.after)
    summary = invented.service.get(f"api/sessions/{invented.after}/summary")
    lead = next(one for one in summary["metrics"] if one["column"] == LEAD)
    row = page.locator(f"#change tr[data-column={LEAD}]")
    expect(row.locator("th")).to_have_text("Transition lead, ms")
    mean, sd, apart = row.locator("td").all()
    assert number(mean.locator("b").inner_text()) == pytest.approx(lead["mean"], abs=0.51)
    assert number(mean.locator(".soft").inner_text()) == pytest.approx(2 * lead["mean_u"], abs=0.51)
    assert number(sd.inner_text()) == pytest.approx(lead["sd"], abs=0.51)
    assert number(apart.inner_text()) == pytest.approx(lead["mdc95_swing"], abs=0.51)
    notes = page.locator("#change .sum .notes")
    expect(notes).to_contain_text("No drift")
    expect(notes).to_contain_text("Left out 1 of 12: swing 4 (The pelvis sensor lost 40 ms")
    expect(notes).to_contain_text("In 1 swing a segment dwells")


def test_a_session_chosen_by_keyboard_is_compared_and_kept_in_the_address(page, invented):
    open_session(page, invented.after)
    expect(page.locator(".change-row")).to_have_count(0)
    chooser = page.get_by_label("Compare with", exact=True)
    chooser.focus()
    page.keyboard.press("ArrowDown")
    row = page.locator(f".change-row[data-column={LEAD}]")
    expect(row.locator(".change-verdict b")).to_contain_text("changed")
    expect(row).to_contain_text("pelvis starts down earlier")
    expect(row.locator(".change-difference b")).to_have_text("+22\u00a0ms")
    still = page.locator(".change-row[data-column=pelvis_turn_top_deg]")
    expect(still.locator(".change-verdict b")).to_contain_text("not shown")
    page.reload()
    expect(row.locator(".change-verdict b")).to_contain_text("changed")
    page.locator("#session tbody tr a").first.click()
    expect(page.locator("#detail h2")).to_have_text("Swing 1")
    assert f"before={invented.before}" in page.url
    expect(row).to_be_visible()


def test_the_bar_leaves_no_change_out_where_and_only_where_it_says_changed(page, invented):
    open_session(page, invented.after, invented.before)
    expect(page.locator(".change-row .interval").first).to_be_visible()
    rows = page.locator(".change-row", has=page.locator(".interval"))
    assert rows.count() >= 2
    for row in rows.all():
        zero, first, last = (
            float(row.locator(".interval line").nth(place).get_attribute("x1"))
            for place in (0, 2, 3)
        )
        changed = row.get_attribute("data-verdict") == "changed"
        assert changed == (not first <= zero <= last)
        assert row.locator(".interval-dot").count() == changed, "told without colour too"
        assert row.get_attribute("data-verdict") in row.locator(".interval").get_attribute(
            "aria-label"
        )


def test_without_an_earlier_session_the_page_says_so(page, invented):
    open_session(page, invented.alone)
    expect(page.locator("#change")).to_contain_text("no earlier session of this golfer")
    expect(page.get_by_label("Compare with", exact=True)).to_be_hidden()


def test_numbers_carry_their_uncertainty_and_a_dwell_its_word(page, invented):
    page.goto(f"/swings?session={invented.after}&swing={invented.after}-12")
    lead = page.locator(f".numbers-list [data-column={LEAD}] dd")
    expect(lead).to_have_text("dwell")
    turn = page.locator(".numbers-list [data-column=pelvis_turn_top_deg] dd")
    expect(turn).to_have_text("\u221250.0\u00b0 \u00b1\u00a01.2\u00b0")
    impact = page.locator(".numbers-list [data-column=impact_s] .estimate")
    expect(impact).to_have_text("seen as a strike")
    expect(page.locator(".numbers-list [data-column=tempo] .estimate")).to_have_count(0)
    expect(page.locator(f"tr[data-swing='{invented.after}-12'] [data-column={LEAD}]")).to_have_text(
        "dwell"
    )


def test_the_comparison_fits_every_width(page, invented):
    open_session(page, invented.after, invented.before)
    expect(page.locator(".change-row").first).to_be_visible()
    cut = {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        cut[width] = page.evaluate(
            """() => [...document.querySelectorAll("html, #change .sheet, #change dd, #change td")]
               .filter((one) => one.scrollWidth > one.clientWidth + 1)
               .map((one) => one.outerHTML)"""
        )
    assert cut == {width: [] for width in WIDTHS}


def test_on_paper_the_choice_is_left_out_and_the_verdicts_stay(page, invented):
    open_session(page, invented.after, invented.before)
    expect(page.locator(".change-row").first).to_be_visible()
    page.emulate_media(media="print")
    expect(page.get_by_label("Compare with", exact=True)).to_be_hidden()
    expect(page.locator(".change-verdict").first).to_be_visible()
    page.emulate_media(media="screen")
