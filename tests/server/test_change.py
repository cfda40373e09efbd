"""A session in sum and the change between two: invented sessions through the real app."""

from __future__ import annotations

import statistics
from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from analysis.results import Flag, Interval, Swing
from server.demo.club import simulated_recording
from server.demo.scenario import SENIOR, DemoSession
from server.metric_choice import COMPARABLE, KEY_METRICS
from server.recording_analysis import analyse_recording
from server.recording_session import whole_session
from server.store import NewGolfer, NewSession
from tests.support.wire_line import STREAMS

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
LEAD = "transition_lead_ms"
STILL = (21, 25, 23, 19, 27, 22, 24, 20, 26, 23)
"""Leads in ms, about 23 with an SD of 2.6."""
LATER = tuple(value + 20 for value in STILL)
GAP = Flag("gap", "The pelvis sensor lost 40 ms within the swing.")
DWELL = Flag("dwell", "The pelvis dwells at its reversal.", spoils=False)


def store_of(client):
    return client.app.state.service.store


def golfer(client, name="Golfer A"):
    return store_of(client).golfers.add(NewGolfer(name), NOW).id


def session(client, golfer_id, days_ago, leads, flags=None):
    """Id of a session whose swings have these leads; `flags`: number -> flags of that swing."""
    store = store_of(client)
    new = NewSession("Range session", NOW - timedelta(days=days_ago), golfer_id)
    session_id = store.sessions.open(new).id
    for number, lead in enumerate(leads, start=1):
        of_swing = (flags or {}).get(number, ())
        window = Interval(20.0 * number, 20.0 * number + 18.0)
        swing = Swing(number, window, {}, {LEAD: lead}, {LEAD: 1.5}, of_swing)
        store.swings.put(session_id, swing)
    return session_id


async def summed_up(client, session_id, *metrics):
    answer = await client.get(f"/api/sessions/{session_id}/summary", params={"metrics": metrics})
    assert answer.status_code == 200, answer.text
    return answer.json()


async def compared(client, before, after, *metrics):
    wish = {"before": before, "after": after, "metrics": metrics}
    answer = await client.get("/api/comparison", params=wish)
    assert answer.status_code == 200, answer.text
    return answer.json()


async def refused(client, path, status, **params):
    answer = await client.get(path, params=params)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    return answer.json()["detail"]


async def test_a_summary_gives_mean_spread_and_what_can_be_told_apart(client):
    found = await summed_up(client, session(client, golfer(client), 3, STILL), LEAD)
    (lead,) = found["metrics"]
    sd = statistics.stdev(STILL)
    assert (lead["n"], found["used"], found["left_out"]) == (10, 10, [])
    assert lead["mean"] == pytest.approx(statistics.fmean(STILL))
    assert lead["sd"] == pytest.approx(sd)
    assert lead["standard_error"] == pytest.approx(sd / 10**0.5)
    # MDC95 = 1.96 sqrt(2) SEM (Weir 2005, J Strength Cond Res 19:231-240)
    assert lead["mdc95_swing"] == pytest.approx(1.96 * 2**0.5 * sd, rel=1e-4)
    assert lead["mdc95_block"] == pytest.approx(lead["mdc95_swing"] / 10**0.5)
    assert lead["mean_u"] == pytest.approx((1.5**2 + sd**2 / 10) ** 0.5)
    assert lead["sd_low"] < sd < lead["sd_high"]


async def test_swings_with_a_spoiling_flag_are_left_out_and_named(client):
    flags = {2: (GAP,), 5: (DWELL,)}
    id_ = session(client, golfer(client), 3, (21, 900, 23, None, 27), flags)
    found = await summed_up(client, id_, LEAD)
    assert found["left_out"] == [{"id": f"{id_}-2", "number": 2, "reasons": [GAP.text]}]
    (lead,) = found["metrics"]
    assert (found["swings"], found["used"]) == (5, 4)
    assert (lead["n"], lead["without_number"], lead["dwelling"]) == (3, 1, 1)
    assert lead["mean"] == pytest.approx((21 + 23 + 27) / 3)


async def test_a_drift_is_said_in_words_with_its_slope_and_range(client):
    falling = [60 - 2 * swing + (1, -1, 0)[swing % 3] for swing in range(14)]
    (lead,) = (await summed_up(client, session(client, golfer(client), 3, falling), LEAD))[
        "metrics"
    ]
    drift = lead["drift"]
    assert drift["verdict"] == "drift"
    assert drift["low"] < -2.0 < drift["high"] < 0.0
    assert drift["sentence"].startswith("Transition lead: drifts down by about 2")
    (lead,) = (await summed_up(client, session(client, golfer(client), 3, STILL), LEAD))["metrics"]
    assert lead["drift"]["verdict"] == "not shown"


async def test_a_session_of_no_or_one_swing_is_summed_up_without_a_spread(client):
    for leads in ((), (21,)):
        found = await summed_up(client, session(client, golfer(client), 3, leads))
        lead = next(one for one in found["metrics"] if one["column"] == LEAD)
        assert (lead["n"], lead["sd"], lead["mdc95_swing"]) == (len(leads), None, None)
        assert lead["drift"]["verdict"] == "too few swings"


async def test_a_trained_lead_is_called_changed_and_an_untrained_one_is_not(client):
    one = golfer(client)
    first, second, third = (
        session(client, one, days, leads) for days, leads in ((30, STILL), (20, LATER), (1, LATER))
    )
    found = await compared(client, first, second, LEAD)
    (lead,) = found["metrics"]
    assert (lead["verdict"], found["confidence"]) == ("changed", pytest.approx(0.95))
    assert lead["change"] == pytest.approx(20.0)
    assert lead["low"] < 20.0 < lead["high"]
    assert lead["sentence"].startswith("Transition lead: changed. From 23 to 43 ms")
    assert [caution["code"] for caution in lead["cautions"]] == ["day_not_known"]
    (lead,) = (await compared(client, second, third, LEAD))["metrics"]
    assert lead["verdict"] == "not shown"


async def test_too_few_swings_are_said_as_such(client):
    one = golfer(client)
    first, second = session(client, one, 30, STILL), session(client, one, 1, LATER[:4])
    (lead,) = (await compared(client, first, second, LEAD))["metrics"]
    assert lead["verdict"] == "too few swings"
    assert "at least 5 in each are needed" in lead["sentence"]


async def test_numbers_read_together_share_the_chance_of_a_false_alarm(client):
    one = golfer(client)
    first, second = session(client, one, 30, STILL), session(client, one, 1, LATER)
    (alone,) = (await compared(client, first, second, LEAD))["metrics"]
    together = await compared(client, first, second)
    assert [one["column"] for one in together["metrics"]] == list(KEY_METRICS)
    assert together["confidence"] == pytest.approx(1.0 - 0.05 / len(KEY_METRICS))
    lead = next(one for one in together["metrics"] if one["column"] == LEAD)
    assert lead["high"] - lead["low"] > alone["high"] - alone["low"]


async def test_sessions_whose_sensors_were_not_held_alike_are_compared_with_a_caution(client):
    one = golfer(client)
    first, second = session(client, one, 30, STILL), session(client, one, 1, LATER)
    alike = await compared(client, first, second, LEAD)
    assert "held_differently" not in {caution["code"] for caution in alike["cautions"]}
    strapped = msgspec.structs.replace(STREAMS[0], fixing="strapped")
    store_of(client).sessions.declare_streams(second, [strapped], NOW)
    found = await compared(client, first, second, LEAD)
    (text,) = [one["text"] for one in found["cautions"] if one["code"] == "held_differently"]
    assert "what held the sensors is not said alike" in text


async def test_a_golfer_who_moves_from_day_to_day_needs_more_to_show_a_change(client):
    one = golfer(client)
    for days, by in ((50, 0), (40, 9), (30, -8)):
        session(client, one, days, [value + by for value in STILL])
    before, after = session(client, one, 10, STILL), session(client, one, 1, LATER)
    session(client, one, 0, [value + 300 for value in STILL])  # later: no part of the history
    found = await compared(client, before, after, LEAD)
    (lead,) = found["metrics"]
    assert found["earlier_sessions"] == 4
    assert lead["day_to_day_sd"] == pytest.approx(statistics.stdev((0, 9, -8, 0)), abs=0.3)
    assert lead["verdict"] == "not shown"
    assert "training_among_earlier" in {caution["code"] for caution in found["cautions"]}
    other = golfer(client, "Golfer B")
    alone = [session(client, other, days, leads) for days, leads in ((9, STILL), (1, LATER))]
    assert (await compared(client, *alone, LEAD))["metrics"][0]["verdict"] == "changed"


async def test_what_cannot_be_compared_is_refused_in_plain_words(client):
    mine, yours = golfer(client), golfer(client, "Golfer B")
    first, second = session(client, mine, 9, STILL), session(client, mine, 1, STILL)
    other, nobody = session(client, yours, 5, STILL), session(client, None, 5, STILL)
    path = "/api/comparison"
    assert "Golfer B" in await refused(client, path, 409, before=first, after=other)
    assert "nobody named" in await refused(client, path, 409, before=nobody, after=first)
    assert "same twice" in await refused(client, path, 422, before=first, after=first)
    assert "earlier session" in await refused(client, path, 422, before=second, after=first)
    assert "no session" in await refused(client, path, 404, before="0" * 12, after=first)
    said = await refused(client, path, 422, before=first, after=second, metrics="top_s")
    assert "'top_s' cannot be compared" in said
    assert "transition_lead_ms" in said
    await refused(client, path, 422, before=first)
    await refused(client, f"/api/sessions/{'0' * 12}/summary", 404)


async def test_without_calibration_the_reader_is_told(client):
    found = await summed_up(client, session(client, golfer(client), 3, STILL), LEAD)
    assert [caution["code"] for caution in found["cautions"]] == ["not_calibrated"]
    assert found["metrics"][0]["mounting_u"] is None
    assert found["metrics"][0]["mdc95_retest"] is None


@pytest.fixture
def measured(client):
    """Ids of two calibrated sessions with samples; between them the lead was trained by 22 ms."""
    store = store_of(client)
    golfer_id = golfer(client)
    facts = store.golfers.facts(golfer_id)
    ids = []
    for days_ago, seed, lead_s in ((30, 301, 0.0), (1, 302, 0.022)):
        plan = DemoSession(SENIOR, "Test", days_ago, seed, lead_s=lead_s)
        recording = simulated_recording(plan.simulated(6), plan)
        new = NewSession("Test", NOW - timedelta(days=days_ago), golfer_id)
        ids.append(
            store.whole_sessions.add(whole_session(analyse_recording(recording, facts), new)).id
        )
    return ids


async def test_how_the_sensors_sit_widens_angles_and_leaves_times_alone(client, measured):
    found = await compared(client, *measured, "separation_top_deg", LEAD)
    separation, lead = found["metrics"]
    assert found["cautions"] == []
    for block in ("before", "after"):
        assert 0.3 < separation[block]["mounting_u"] < 4.0
        assert lead[block]["mounting_u"] < 0.1
    assert separation["lasting_u"] == pytest.approx(
        sum(separation[block]["mounting_u"] ** 2 for block in ("before", "after")) ** 0.5
    )
    assert lead["verdict"] == "changed"
    assert lead["low"] < 22.0 < lead["high"]


async def test_every_number_that_is_no_moment_can_be_summed_up(client, measured):
    found = await summed_up(client, measured[0], *COMPARABLE)
    assert [one["column"] for one in found["metrics"]] == list(COMPARABLE)
    with_number = [one for one in found["metrics"] if one["n"]]
    assert len(with_number) > 25
    assert all(one["mounting_u"] is not None for one in with_number)
