"""What holds a sensor is said on its card, remembered, and goes with the session."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.support.sensors_page import (
    WIDTHS,
    choose,
    end,
    find_and_assign,
    overflow,
    rig_within_reach,
    start,
)

pytestmark = pytest.mark.usefixtures("own_configuration")


def held(phone, name):
    return phone.get_by_label(f"What holds {name}")


def test_a_strap_is_said_once_and_holds_for_this_session_and_the_next(phone, empty_service):
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        phone.get_by_role("button", name="Find sensors").click()
        expect(held(phone, "torsolog P")).to_be_hidden()
        choose(phone, "torsolog P", "pelvis")
        choose(phone, "torsolog U", "upper_back")
        expect(held(phone, "torsolog P")).to_have_value("")
        with phone.expect_response("**/api/sensors/*") as said:
            held(phone, "torsolog P").select_option(label="a strap or belt")
        assert said.value.ok
        expect(held(phone, "torsolog P")).to_have_value("strapped")
        assert overflow(phone) == dict.fromkeys(WIDTHS, 0)
        start(phone)
        expect(held(phone, "torsolog P")).to_be_hidden()
        (session,) = empty_service.get("/api/sessions")
        fixing = empty_service.get(f"/api/sessions/{session['id']}/fixing")
        assert fixing == {"pelvis": "strapped", "upper_back": None}
        end(phone)
        phone.reload()
        expect(held(phone, "torsolog P")).to_have_value("strapped")
        expect(held(phone, "torsolog U")).to_have_value("")


def test_a_sensor_that_changes_its_place_keeps_what_holds_it(phone, empty_service):
    with rig_within_reach(empty_service):
        phone.goto("/sensors")
        find_and_assign(phone)
        held(phone, "torsolog U").select_option(label="a rigid plate")
        expect(held(phone, "torsolog U")).to_have_value("rigid")
        choose(phone, "torsolog U", "pelvis")
        expect(held(phone, "torsolog U")).to_have_value("rigid")
