"""Sensors: found, assigned, streamed and calibrated from a page, over the real Bluetooth client."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from playwright.sync_api import expect

from sensors import wire
from server.settings import Settings, sqlite_url
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK
from tests.support.sensors_page import (
    WIDTHS,
    choose,
    end,
    find_and_assign,
    overflow,
    phone_on,
    rig_within_reach,
    start,
)
from tests.support.service_thread import SensorLine, ServiceThread
from tests.support.wire_line import STREAMS, batch, simulated_messages
from tests.web.conftest import simulated

DENIED = ("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message")

pytestmark = pytest.mark.usefixtures("own_configuration")


def test_sensors_are_found_assigned_started_and_stopped(phone, empty_service):
    empty_service.add_golfer(name="Golfer R.")
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        expect(phone.locator("#state .state-text")).to_contain_text("press Find sensors")
        phone.get_by_role("button", name="Find sensors").click()
        expect(phone.locator(".sensor")).to_have_count(2)
        expect(phone.locator(".sensor .signal").first).to_contain_text(re.compile(r"dBm"))
        choose(phone, "torsolog P", "pelvis")
        choose(phone, "torsolog U", "upper_back")
        expect(phone.locator("#state .state-text")).to_have_text(
            "Both sensors are assigned. Press Start."
        )
        assert overflow(phone) == dict.fromkeys(WIDTHS, 0)
        phone.get_by_label("Golfer").select_option(label="Golfer R.")
        phone.get_by_label("Title").fill("Morning")
        start(phone)
        expect(phone.locator("#start [data-part=who]")).to_have_text("Morning, Golfer R.")
        facts = phone.locator(".sensor").first.locator(".facts li")
        expect(facts).to_have_text(
            [
                re.compile(r"^(19|20)\d\sHz$"),
                "No samples lost",
                re.compile(r"^Battery 80\s%$"),
                re.compile(r"^Timing .*±\s[\d.]+\sms$"),
            ]
        )
        assert overflow(phone) == dict.fromkeys(WIDTHS, 0)
        end(phone)
        assert [one["open"] for one in empty_service.get("/api/sessions")] == [False]


def test_a_slip_of_the_thumb_does_not_end_a_session(phone, empty_service):
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        find_and_assign(phone)
        start(phone)
        phone.get_by_role("button", name="Stop and end the session").click()
        phone.get_by_role("button", name="Go on").click()
        expect(phone.get_by_role("button", name="Stop and end the session")).to_be_focused()
        assert [one["open"] for one in empty_service.get("/api/sessions")] == [True]


def test_a_start_without_both_sensors_is_refused_in_words(browser, empty_service):
    with (
        phone_on(browser, empty_service.address) as (page, misdeeds),
        rig_within_reach(empty_service),
    ):
        page.goto("/sensors")
        page.get_by_role("button", name="Find sensors").click()
        choose(page, "torsolog P", "pelvis")
        page.get_by_role("button", name="Start", exact=True).click()
        expect(page.get_by_role("alert")).to_contain_text("No sensor is assigned to the upper back")
        choose(page, "torsolog U", "upper_back")
        expect(page.get_by_role("alert")).to_be_hidden()
        assert ["409 (Conflict)" in one for one in misdeeds.errors] == [True]


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ({"do": "power", "on": False}, "Bluetooth is switched off"),
        ({"do": "unplug"}, "This computer has no Bluetooth LE adapter"),
        (
            {"do": "fail", "member": "StartDiscovery", "with_errors": [DENIED]},
            "Bluetooth may not be used from here: add yourself to the group \u201cbluetooth\u201d",
        ),
    ],
    ids=["switched off", "no adapter", "not allowed"],
)
def test_an_obstacle_of_the_computer_is_loud_with_what_to_do(phone, empty_service, order, words):
    with rig_within_reach(empty_service, pair=False) as rig:
        empty_service.do(rig.order(**order))
        phone.goto("/sensors")
        phone.get_by_role("button", name="Find sensors").click()
        expect(phone.locator("#state")).to_have_attribute("data-level", "loud")
        expect(phone.locator("#state .state-text")).to_contain_text(f"{words}")
        expect(phone.locator("#state .state-text")).to_contain_text(": ")


def test_sensors_worn_the_wrong_way_round_are_swapped_and_started_again(phone, empty_service):
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        find_and_assign(phone, {"pelvis": "torsolog U", "upper_back": "torsolog P"})
        phone.get_by_label("Title").fill("Evening")
        start(phone)
        expect(phone.locator(".sensor h3").first).to_have_text("Pelvis: torsolog U")
        phone.get_by_role("button", name="Wrong way round").click()
        expect(phone.locator(".sensor h3")).to_have_text(
            ["Pelvis: torsolog P", "Upper back: torsolog U"]
        )
        expect(phone.locator("#start [data-part=who]")).to_have_text("Evening, No golfer named")
        sessions = empty_service.get("/api/sessions")
        assert sorted(one["open"] for one in sessions) == [False, True]


def test_the_sensor_that_is_moved_is_shown_by_its_bar_its_trace_and_in_words(
    phone, empty_service, tmp_path
):
    turning = str(tmp_path / "turning.npz")
    gyro = np.tile(np.array([0, 3000, 0], dtype=np.int16), (4000, 1))  # 183 deg/s about y
    accel = np.tile(np.array([0, 2048, 0], dtype=np.int16), (4000, 1))
    np.savez(turning, gyro=gyro, accel=accel)
    lying = str(tmp_path / "lying.npz")
    np.savez(lying, gyro=np.zeros_like(gyro), accel=accel)
    with rig_within_reach(empty_service, pair=False) as rig:
        empty_service.do(rig.add(PELVIS, name="torsolog P", motion=lying))
        empty_service.do(rig.add(UPPER_BACK, name="torsolog U", motion=turning))
        phone.goto("/sensors")
        find_and_assign(phone)
        start(phone)
        expect(phone.locator("#find [data-part=hint]")).to_have_text(
            "The one that moves is the sensor of the upper back."
        )
        moved = phone.locator(".sensor[data-segment=upper_back]")
        expect(moved).to_have_attribute("data-moving", "true")
        expect(phone.locator(".sensor[data-segment=pelvis]")).to_have_attribute(
            "data-moving", "false"
        )
        assert phone.evaluate(DRAWN_OFF, {"segment": "upper_back", "wanted": 0.3}) > 0.3
        still = phone.evaluate(DRAWN_OFF, {"segment": "pelvis", "wanted": 0.0})
        assert still < 0.1, "the trace of the one that lies still lies on the zero line"
        expect(phone.locator("#find [data-part=raw]")).to_contain_text("sensors' own turning")
        phone.goto("/range")
        expect(phone.locator("#raw")).to_contain_text("not yet the body's")


DRAWN_OFF = """({ segment, wanted }) => {
  const canvas = document.querySelector(`.sensor[data-segment=${segment}] canvas`);
  const off = () => {
    const { width, height } = canvas;
    if (width * height === 0) return -1;
    const copy = new OffscreenCanvas(width, height).getContext("2d", { willReadFrequently: true });
    copy.drawImage(canvas, 0, 0);
    const { data } = copy.getImageData(width - 4, 0, 1, height);
    const rows = [...Array(height).keys()].filter((row) => data[4 * row + 3] > 128);
    return Math.max(-1, ...rows.map((row) => Math.abs(row / height - 0.5)));
  };
  return new Promise((done) => {
    const look = () => (off() >= wanted ? done(off()) : requestAnimationFrame(look));
    look();
  });
}"""
"""Share of a trace's height by which its newest end is off the middle, once that is as wanted."""


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
    """The emulated sensors count instead of being worn, so that there is no stand in them."""
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        find_and_assign(phone)
        start(phone)
        phone.get_by_role("button", name="Stand and bow").click()
        expect(phone.locator("#calibrate [data-part=cancel]")).to_be_focused()
        verdict = phone.locator("#calibrate [data-part=verdict]")
        expect(verdict.locator("h3")).to_have_text("Repeat")
        expect(verdict).to_contain_text("Repeat: ")
        expect(phone.get_by_role("button", name="Stand and bow")).to_be_focused()
        expect(phone.get_by_role("link", name="Go to Range")).to_be_hidden()
        end(phone)
        expect(phone.locator("#calibrate")).to_be_hidden()


def test_a_sensor_that_falls_silent_is_loud_wherever_the_page_is_scrolled_to(phone, empty_service):
    with rig_within_reach(empty_service) as rig:
        phone.goto("/sensors")
        find_and_assign(phone)
        start(phone)
        phone.locator("#calibrate").scroll_into_view_if_needed()
        empty_service.do(rig.order("set", address=PELVIS, silent=True))
        line = phone.locator("#state[data-level=loud]")
        expect(line).to_contain_text(re.compile("pelvis sensor", re.IGNORECASE))
        expect(line).to_be_in_viewport()
        card = phone.locator(".sensor[data-segment=pelvis]")
        expect(card).to_have_attribute("data-trouble", "true")
        expect(phone.locator(".sensor[data-segment=upper_back] .turning-head")).to_contain_text(
            "Waits for the pelvis sensor"
        )
        empty_service.do(rig.order("set", address=PELVIS, silent=False))
        expect(phone.locator("#state[data-level=loud]")).to_have_count(0)
        expect(card).to_have_attribute("data-trouble", "false")
        phone.get_by_text("What happened lately").click()
        expect(phone.locator(".news")).to_contain_text("pelvis sensor (torsolog P)")


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
        page.get_by_role("button", name="Stand and bow").click()
        expect(page.locator("#calibrate [data-part=count]")).to_have_text("Get ready to stand3")
        page.clock.run_for(6000)
        verdict = page.locator("#calibrate [data-part=verdict]")
        expect(verdict).to_contain_text("sends nothing now")
        expect(page.locator("#calibrate [data-part=count]")).to_be_hidden()
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
