"""Calibration with repeats, sync check and scale check from the page, on the real service."""

from __future__ import annotations

import contextlib
import re
import time
from datetime import datetime

import msgspec
import numpy as np
import pytest
from playwright.sync_api import expect

from sensors import wire
from tests.support.bluetooth_rig import PELVIS, UPPER_BACK
from tests.support.counted_samples import GYRO_COUNT
from tests.support.sensors_page import RATE_HZ, find_and_assign, phone_on, rig_within_reach, start
from tests.support.service_thread import SensorLine
from tests.support.wire_line import STREAM_IDS, simulated_messages
from tests.web.conftest import simulated

pytestmark = pytest.mark.usefixtures("own_configuration")

UP = 2048
"""Counts of 1 g."""
TURNS, SET_S, REST_S = 5, 9, 1.5
"""Whole turns on a table, s of a set, and of rest before and after them."""


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


class StandAndBow:
    """What both sensors send while the golfer stands and bows, as often as it is wanted."""

    def __init__(self, line: SensorLine) -> None:
        messages = list(simulated_messages(simulated(swings=1)))
        marks = {one.kind: one for one in messages if isinstance(one, wire.Mark)}
        self._batches = [one for one in messages if isinstance(one, wire.SampleBatch)]
        self._line = line
        self._stand, self._bow = marks["stand"], marks["bow"]
        self._later_s, self._sent = 0.0, 0
        self._sequences = dict.fromkeys(STREAM_IDS.values(), 0)

    def waited(self) -> None:
        self._send_to(self._stand.start_s)

    def stood(self) -> None:
        self._send_to(self._stand.end_s)

    def bowed(self) -> None:
        self._send_to(self._bow.end_s + 0.5)

    def again(self) -> None:
        """From just before the stand, at the times that follow."""
        ended_s = self._bow.end_s + 0.5
        self._sent = sum(one.received_s <= self._stand.start_s for one in self._batches)
        self._later_s += ended_s - self._stand.start_s + 0.1

    def _send_to(self, end_s: float) -> None:
        upto = sum(one.received_s <= end_s for one in self._batches)
        self._line.send([self._next(one) for one in self._batches[self._sent : upto]])
        self._sent = upto

    def _next(self, one: wire.SampleBatch) -> wire.SampleBatch:
        sequence = self._sequences[one.stream_id]
        self._sequences[one.stream_id] += 1
        time_s, _, _ = wire.batch_arrays(one)
        return msgspec.structs.replace(
            one,
            sequence=sequence,
            received_s=one.received_s + self._later_s,
            time_s=(time_s + self._later_s).astype("<f8").tobytes(),
        )


def test_calibrations_are_counted_up_to_three_and_a_reload_still_says_it(browser, empty_service):
    counted = ("1 of 3: good already", "2 of 3: one more", "3 of 3: as sure as it gets")
    with (
        phone_on(browser, empty_service.address) as (page, misdeeds),
        SensorLine(empty_service, title="Repeats") as line,
    ):
        golfer = StandAndBow(line)
        page.clock.install(time=datetime(2026, 1, 1, 12, 0, 0))
        golfer.waited()
        page.goto("/sensors")
        expect(page.locator(".sensor")).to_have_count(2)
        verdict = page.locator("#calibrate [data-part=verdict]")
        raw = page.locator("#find [data-part=raw]")
        expect(raw).to_be_visible()
        for number, count in enumerate(counted, start=1):
            page.clock.pause_at(datetime(2026, 1, 1, 12 + number, 0, 0))
            page.locator("#calibrate [data-part=walk]").click()
            expect(page.locator("#calibrate .counting")).to_have_text("Get ready to stand3")
            golfer.stood()
            with page.expect_response("**/marks/now"):
                page.clock.run_for(6000)
            expect(page.locator("#calibrate .counting")).to_have_text("Bow and rise, twice7")
            golfer.bowed()
            page.clock.run_for(7000)
            page.clock.resume()
            expect(verdict).to_contain_text(count)
            expect(verdict).to_contain_text("Calibrated")
            expect(verdict.locator("h3")).to_have_text("Good")
            again = f"Stand and bow, {number + 1} of 3" if number < 3 else "Stand and bow again"
            expect(page.get_by_role("button", name=again)).to_be_focused()
            expect(raw).to_be_hidden()
            golfer.again()
        page.reload()
        expect(verdict).to_contain_text("Calibrated")
        expect(page.get_by_role("button", name="Stand and bow again")).to_be_visible()
        assert misdeeds.errors == []


def test_sensors_twisted_as_one_are_brought_together(phone, empty_service, tmp_path):
    file = motion_file(tmp_path / "twist.npz", twist(120.0))
    with streaming(phone, empty_service, dict.fromkeys((PELVIS, UPPER_BACK), file)):
        phone.get_by_role("heading", name="Sync check").click()
        settled = phone.locator("#sync [data-part=advice]")
        expect(settled).to_contain_text("timing is known to", timeout=60_000)
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


def table_turns(number, scale):
    """Both sensors at rest, turned about axis `number` on a table, at rest again, as batches."""
    count, batch_samples = int(SET_S * RATE_HZ), 20
    own_s = np.arange(count) / RATE_HZ
    phase = np.clip((own_s - REST_S) / (SET_S - 2.0 * REST_S), 0.0, 1.0)
    speed = 2.0 * np.pi * TURNS / (SET_S - 2.0 * REST_S) * (1.0 - np.cos(2.0 * np.pi * phase))
    gyro, accel = np.zeros((2, count, 3))
    gyro[:, number], accel[:, number] = scale * speed, 9.81
    time_s = 0.5 + number * (SET_S + 1.0) + own_s
    for at in range(0, count, batch_samples):
        rows = slice(at, at + batch_samples)
        for stream_id in STREAM_IDS.values():
            yield wire.SampleBatch(
                stream_id=stream_id,
                sequence=(number * count + at) // batch_samples,
                first_tick=number * count + at,
                ticks_per_sample=1.0,
                received_s=float(time_s[rows][-1]),
                **wire.pack_arrays(time_s[rows], gyro[rows], accel[rows]),
            )


def test_turns_about_three_faces_give_the_scale_and_a_reload_knows_what_is_done(
    browser, empty_service
):
    with (
        phone_on(browser, empty_service.address) as (page, misdeeds),
        SensorLine(empty_service, title="Table") as line,
    ):
        page.clock.install(time=datetime(2026, 1, 1, 12, 0, 0))
        page.goto("/sensors")
        verdict, had = (page.locator(f"#scale [data-part={part}]") for part in ("verdict", "had"))
        faces = page.locator("#scale .faces li")
        for number, axis in enumerate("xyz"):
            messages = list(table_turns(number, scale=1.01))
            half = len(messages) // 2
            line.send(messages[:half])
            if number == 0:
                page.get_by_role("heading", name="Scale check").click()
                expect(had).to_have_text("Still to do: the turns about x, y and z.")
                page.clock.pause_at(datetime(2026, 1, 1, 12, 30, 0))
            page.get_by_role("button", name="It lies still: begin").click()
            page.clock.run_for(3000)
            lies = page.get_by_role("button", name="Turned: it lies still again")
            expect(lies).to_be_focused()
            expect(page.locator("#scale .counting")).to_contain_text("Turn it 5 times around")
            page.clock.run_for(1000 * (SET_S - 6))
            lies.click()
            line.send(messages[half:])
            page.clock.run_for(3000)
            expect(faces.nth(number)).to_have_text(f"{axis}: done")
            if number == 0:
                expect(verdict.locator("h3")).to_have_text("Face 1 of 3 done")
                page.locator("#scale").get_by_role("button", name="Upper back").click()
                expect(page.locator("#scale .faces li[data-done=true]")).to_have_count(0)
                page.locator("#scale").get_by_role("button", name="Pelvis").click()
            if number == 1:
                page.clock.resume()
                page.reload()
                page.get_by_role("heading", name="Scale check").click()
                expect(had).to_have_text("Done: x and y. Still to do: the turns about z.")
                expect(faces).to_have_text(["x: done", "y: done", "z: to do"])
                page.clock.pause_at(datetime(2026, 1, 1, 13, 30, 0))
        expect(verdict.locator("h3")).to_have_text("Good")
        expect(verdict).to_contain_text(re.compile(r"x \u22120\.99\s%"))
        page.clock.resume()
        page.reload()
        page.get_by_role("heading", name="Scale check").click()
        expect(had).to_have_text(re.compile(r"^The scale is known to .* Nothing is missing\.$"))
        expect(faces).to_have_text(["x: done", "y: done", "z: done"])
        assert misdeeds.errors == []


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
