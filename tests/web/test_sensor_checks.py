"""Calibration with repeats, sync check and scale check from the page, on the real service."""

from __future__ import annotations

import contextlib
import time
from datetime import datetime

import numpy as np
import pytest
from playwright.sync_api import expect

from sensors import wire
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK
from tests.support.counted_samples import GYRO_COUNT
from tests.support.sensors_page import RATE_HZ, find_and_assign, phone_on, rig_within_reach, start
from tests.support.service_thread import SensorLine
from tests.support.wire_line import simulated_messages
from tests.web.conftest import simulated

pytestmark = pytest.mark.usefixtures("own_configuration")

UP = 2048
"""Counts of 1 g."""


def rate_counts(dps):
    return np.rint(np.radians(np.asarray(dps)) / GYRO_COUNT).astype(np.int16)


def motion_file(path, rate_dps, upward=1):
    """A sensor's counts: angular rate (n, 3) deg/s, lying with an axis up."""
    accel = np.zeros((len(rate_dps), 3), dtype=np.int16)
    accel[:, upward] = UP
    np.savez(path, gyro=rate_counts(rate_dps), accel=accel)
    return str(path)


def twist(seconds, hertz=1.3):
    """Held in the hand and twisted to and fro, (n, 3) deg/s."""
    at_s = np.arange(0.0, seconds, 1.0 / RATE_HZ)[:, None]
    sizes = np.array([400.0, 80.0, 60.0])
    return sizes * np.sin(2.0 * np.pi * np.array([hertz, 0.9, 1.7]) * at_s + np.arange(3.0))


def whole_turns(seconds, still_s, turning_s, turns, scale):
    """At rest, then so many whole turns about y with a gyro that reads `scale` of them."""
    at_s = np.arange(0.0, seconds, 1.0 / RATE_HZ)
    phase = np.clip((at_s - still_s) / turning_s, 0.0, 1.0)
    rate = np.zeros((len(at_s), 3))
    rate[:, 1] = scale * 360.0 * turns / turning_s * (1.0 - np.cos(2.0 * np.pi * phase))
    noise = np.random.default_rng(2).normal(0.0, 0.1, rate.shape)
    return rate + noise


@contextlib.contextmanager
def streaming(phone, service, files):
    """Both sensors assigned and started, their motions begun at the given monotonic time."""
    with rig_within_reach(service, pair=False) as rig:
        for address, name in ((PELVIS, "torsolog P"), (UPPER_BACK, "torsolog U")):
            service.do(rig.add(address, name=name, motion=files[address]))
        phone.goto("/sensors")
        find_and_assign(phone)
        begun_s = time.monotonic()
        for address in files:
            service.do(rig.order("set", address=address, motion_from_s=begun_s))
        start(phone)
        yield begun_s


def test_a_good_calibration_asks_for_two_more_and_a_reload_still_says_it(browser, empty_service):
    messages = list(simulated_messages(simulated(swings=1)))
    marks = {one.kind: one for one in messages if isinstance(one, wire.Mark)}
    batches = [one for one in messages if isinstance(one, wire.SampleBatch)]

    def until(end_s):
        return [one for one in batches if sent_s < one.received_s <= end_s]

    with (
        phone_on(browser, empty_service.address) as (page, misdeeds),
        SensorLine(empty_service, title="Repeats") as line,
    ):
        sent_s = -1.0
        page.clock.install(time=datetime(2026, 1, 1, 12, 0, 0))
        line.send(until(marks["stand"].start_s))
        page.goto("/sensors")
        expect(page.locator(".sensor")).to_have_count(2)
        page.clock.pause_at(datetime(2026, 1, 1, 12, 2, 0))
        page.get_by_role("button", name="Stand and bow").click()
        expect(page.locator("#calibrate .counting")).to_have_text("Get ready to stand3")
        sent_s = marks["stand"].start_s
        line.send(until(marks["stand"].end_s))
        with page.expect_response("**/marks/now"):
            page.clock.run_for(6000)
        expect(page.locator("#calibrate .counting")).to_have_text("Bow and rise, twice7")
        sent_s = marks["stand"].end_s
        line.send(until(marks["bow"].end_s + 0.5))
        page.clock.run_for(7000)
        page.clock.resume()
        verdict = page.locator("#calibrate [data-part=verdict]")
        expect(verdict).to_contain_text("Calibrated: ")
        expect(verdict.locator("h3")).to_have_text("Good")
        expect(verdict).to_contain_text("1 of 3: good already. Two more make the angles surer.")
        again = page.get_by_role("button", name="Stand and bow, 2 of 3")
        expect(again).to_be_focused()
        page.reload()
        expect(verdict).to_contain_text("Calibrated")
        expect(again).to_be_visible()
        assert misdeeds.errors == []


def test_sensors_twisted_as_one_are_brought_together(phone, empty_service, tmp_path):
    file = motion_file(tmp_path / "twist.npz", twist(120.0))
    with streaming(phone, empty_service, dict.fromkeys((PELVIS, UPPER_BACK), file)):
        phone.get_by_role("heading", name="Sync check").click()
        phone.get_by_role("button", name="Twist, 6 s").click()
        verdict = phone.locator("#sync [data-part=verdict]")
        expect(verdict.locator("h3")).to_have_text("Good")
        expect(verdict).to_contain_text("They were apart by")
        (session,) = empty_service.get("/api/sessions")
        (kept,) = empty_service.get(f"/api/sessions/{session['id']}/sync-checks")
        assert kept["u_ms"] < 0.5


def test_sensors_twisted_apart_are_to_be_twisted_again(phone, empty_service, tmp_path):
    files = {
        PELVIS: motion_file(tmp_path / "p.npz", twist(120.0)),
        UPPER_BACK: motion_file(tmp_path / "u.npz", twist(120.0, hertz=0.8)),
    }
    with streaming(phone, empty_service, files):
        phone.get_by_role("heading", name="Sync check").click()
        phone.get_by_role("button", name="Twist, 6 s").click()
        verdict = phone.locator("#sync [data-part=verdict]")
        expect(verdict.locator("h3")).to_have_text("Repeat")
        expect(verdict).to_contain_text("did not turn as one")
        expect(phone.get_by_role("button", name="Twist, 6 s")).to_be_focused()


def test_turns_about_one_face_are_kept_and_shown(phone, empty_service, tmp_path):
    still_s, turning_s = 20.0, 8.0
    turned = whole_turns(120.0, still_s, turning_s, turns=5, scale=1.01)
    files = {
        PELVIS: motion_file(tmp_path / "p.npz", turned),
        UPPER_BACK: motion_file(tmp_path / "u.npz", np.zeros((int(120 * RATE_HZ), 3))),
    }
    with streaming(phone, empty_service, files) as begun_s:
        phone.get_by_role("heading", name="Scale check").click()
        phone.get_by_role("button", name="It lies still: begin").click()
        lies = phone.get_by_role("button", name="Turned: it lies still again")
        expect(lies).to_be_focused()
        expect(phone.locator("#scale .counting")).to_contain_text("Turn it 5 times around")
        left_s = begun_s + still_s + turning_s + 0.5 - time.monotonic()
        phone.wait_for_timeout(1e3 * left_s)  # the turns are made meanwhile
        lies.click()
        verdict = phone.locator("#scale [data-part=verdict]")
        expect(verdict.locator("h3")).to_have_text("Face 1 of 3 done")
        expect(phone.locator("#scale .faces li")).to_have_text(["x: to do", "y: done", "z: to do"])
        phone.locator("#scale").get_by_role("button", name="Upper back").click()
        expect(phone.locator("#scale .faces li[data-done=true]")).to_have_count(0)


def test_no_turns_at_all_are_refused_with_what_was_expected(browser, empty_service, tmp_path):
    file = motion_file(tmp_path / "still.npz", np.zeros((int(120 * RATE_HZ), 3)))
    with (
        phone_on(browser, empty_service.address) as (page, misdeeds),
        streaming(page, empty_service, dict.fromkeys((PELVIS, UPPER_BACK), file)),
    ):
        page.get_by_role("heading", name="Scale check").click()
        page.get_by_role("button", name="It lies still: begin").click()
        page.get_by_role("button", name="Turned: it lies still again").click()
        verdict = page.locator("#scale [data-part=verdict]")
        expect(verdict.locator("h3")).to_have_text("Repeat")
        expect(page.locator("#scale .faces li[data-done=true]")).to_have_count(0)
        assert ["409 (Conflict)" in one for one in misdeeds.errors] == [True]
