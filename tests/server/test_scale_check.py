"""The scale check, from whole turns on a table to the numbers of swings, on the real service."""

from __future__ import annotations

import dataclasses
import functools

import msgspec
import numpy as np
import pytest

from sensors import wire
from sensors.faults import SensorFaults
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from server.reanalyse import reanalyse, swing_again
from tests.support.wire_line import STREAMS, line_to, simulated_messages

GAIN = {"pelvis": (1.005, 0.995, 1.005), "upper_back": (0.995, 1.005, 0.995)}
"""Scale of each gyro: off by 0.5 %."""
TURNS, TURNING_S, REST_S = 5, 10.0, 1.5
SET_S = TURNING_S + 2.0 * REST_S
SWINGING_FROM_S = 60.0
PEAKS = ("pelvis_peak_dps", "upper_back_peak_dps")
RATE_HZ = 200.0


def turning(axis, number, *, gain=True, turns=TURNS, rest_s=REST_S):
    """Both sensors laid on a table and turned about one of their axes, as batches; set `number`."""
    length_s = TURNING_S + 2.0 * rest_s
    first_s = 0.5 + number * (SET_S + 1.0)
    count = int(length_s * RATE_HZ) // 20 * 20
    own_s = np.arange(count) / RATE_HZ
    share = np.clip((own_s - rest_s) / TURNING_S, 0.0, 1.0)
    speed = 2.0 * np.pi * turns / TURNING_S * (1.0 - np.cos(2.0 * np.pi * share))
    direction = np.asarray(axis, dtype=np.float64)
    rate = np.outer(speed, direction)
    force = np.tile(9.81 * direction, (count, 1))
    for at in range(0, count, 20):
        for stream in STREAMS:
            rows = slice(at, at + 20)
            scale = GAIN[stream.segment] if gain else (1.0, 1.0, 1.0)
            yield stream.stream_id, first_s + own_s[rows], rate[rows] * scale, force[rows]


class Sent:
    """What a collector sends on one line; batches are counted by stream."""

    def __init__(self, line, suffix=""):
        self.line, self.suffix = line, suffix
        self._sequences = dict.fromkeys((one.stream_id for one in STREAMS), 0)

    async def turns(self, axis, number, **how):
        await self.line.send_all(self._batches(turning(axis, number, **how)))

    async def swings(self, session):
        await self.line.send_all(self._numbered(simulated_messages(session)))

    def _batches(self, pieces):
        for stream_id, time_s, gyro, accel in pieces:
            yield self._number(
                wire.SampleBatch(
                    stream_id=stream_id,
                    sequence=0,
                    first_tick=0,
                    ticks_per_sample=1.0,
                    received_s=float(time_s[-1]),
                    **wire.pack_arrays(time_s, gyro, accel),
                )
            )

    def _numbered(self, messages):
        for message in messages:
            yield self._number(message) if isinstance(message, wire.SampleBatch) else message

    def _number(self, batch):
        sequence = self._sequences[batch.stream_id]
        self._sequences[batch.stream_id] += 1
        return msgspec.structs.replace(
            batch, sequence=sequence, stream_id=batch.stream_id + self.suffix
        )


def golfer_session(gain):
    """Swings of a golfer whose sensors are ideal but for their scale."""
    faults = {
        segment: SensorFaults(
            gyro_scale=tuple(one - 1.0 for one in of_axes) if gain else (0.0,) * 3
        )
        for segment, of_axes in GAIN.items()
    }
    return SimulatedRangeSession(PracticePlan(2, start_s=SWINGING_FROM_S), faults, seed=5)


@functools.cache
def true_peaks():
    """The peaks that ideal sensors show: swing by swing."""
    truth = golfer_session(gain=False).truth
    return [[swing.metrics[name] for name in PEAKS] for swing in truth]


def peaks(swings):
    return np.array([[swing["metrics"][name] for name in PEAKS] for swing in swings])


async def check(service, session, segment, *, turns=TURNS, seconds=SET_S):
    return await service.http.post(
        f"/api/sessions/{session}/scale-check",
        json={"segment": segment, "turns": turns, "seconds": seconds},
    )


async def standing(service, session):
    """How far the check of each sensor has come, as a page that was just opened hears it."""
    answer = (await service.http.get(f"/api/sessions/{session}/scale-check")).json()
    return {one["segment"]: one for one in answer}


async def checked(service, session, sent):
    """All three sets of both sensors; the last answers."""
    answers = {}
    for one in (await standing(service, session)).values():
        assert one["text"] == "Still to do: the turns about x, y and z."
    for number, axis in enumerate(np.eye(3)):
        await sent.turns(axis, number)
        for segment in GAIN:
            answer = await check(service, session, segment)
            assert answer.status_code == 200, answer.text
            answers[segment] = answer.json()
            assert answers[segment]["axis"] == "xyz"[number]
            assert answers[segment]["sets"] == list("xyz"[: number + 1])
            assert answers[segment]["done"] is (number == 2)
            known = (await standing(service, session))[segment]
            assert {key: known[key] for key in ("sets", "done", "factors", "u")} == {
                key: answers[segment][key] for key in ("sets", "done", "factors", "u")
            }
    assert "Nothing is missing" in known["text"]
    return answers


def renamed(suffix):
    return [msgspec.structs.replace(one, stream_id=one.stream_id + suffix) for one in STREAMS]


async def swings_of(service, line, session):
    await line.send(wire.Finish())
    await line.socket.wait_closed()
    return (await service.http.get(f"/api/sessions/{session}/swings")).json()


def same_as_again(service, session):
    """Whether the stored swings are those of another analysis and of their windows, to the bit."""
    store = service.parts.store
    records = store.swings.of_session(session)
    kept = [record.swing for record in records]
    again = [dataclasses.replace(one, curves=None) for one in reanalyse(store, session)]
    alone = [dataclasses.replace(swing_again(store, one), curves=None) for one in records]
    return len(kept) == 2 and kept == again == alone


async def test_half_a_percent_of_scale_is_put_right_to_a_tenth_in_the_peaks(live_service):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        answers = await checked(live_service, session, sent := Sent(line))
        for segment, gain in GAIN.items():
            found = answers[segment]
            assert np.array(found["factors"]) * gain == pytest.approx(np.ones(3), abs=0.0005)
            assert 0.0 < max(found["u"]) < 0.001
            assert "put right from now on" in found["text"]
        await sent.swings(golfer_session(gain=True))
        swings = await swings_of(live_service, line, session)
    assert peaks(swings) == pytest.approx(np.array(true_peaks()), rel=0.001)
    assert same_as_again(live_service, session)
    in_force = (await live_service.http.get(f"/api/sessions/{session}/scales")).json()
    assert [one["segment"] for one in in_force] == ["pelvis", "upper_back"]
    assert all(30.0 < one["from_s"] < SWINGING_FROM_S for one in in_force)


async def test_without_a_check_the_peaks_are_off_and_no_factor_is_known(live_service):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        await Sent(line).swings(golfer_session(gain=True))
        swings = await swings_of(live_service, line, session)
    assert np.abs(peaks(swings) / true_peaks() - 1.0).min() > 0.003
    assert (await live_service.http.get(f"/api/sessions/{session}/scales")).json() == []


async def test_a_later_session_of_the_same_sensors_is_put_right_and_an_earlier_one_left(
    live_service,
):
    async with line_to(live_service.address) as line:
        before = (await line.hello(streams=renamed("-before"))).session
        await Sent(line, "-before").swings(golfer_session(gain=True))
        old = await swings_of(live_service, line, before)
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        await checked(live_service, session, Sent(line))
        await line.send(wire.Finish())
        await line.socket.wait_closed()
    async with line_to(live_service.address) as line:
        later = (await line.hello(streams=renamed("-later"))).session
        await Sent(line, "-later").swings(golfer_session(gain=True))
        swings = await swings_of(live_service, line, later)
    assert peaks(swings) == pytest.approx(np.array(true_peaks()), rel=0.001)
    assert same_as_again(live_service, later)
    in_force = (await live_service.http.get(f"/api/sessions/{later}/scales")).json()
    assert [one["from_s"] for one in in_force] == [None, None]
    for one in (await standing(live_service, later)).values():
        assert (one["sets"], one["done"]) == ([], True)
        assert "from an earlier check" in one["text"]
    assert same_as_again(live_service, before)
    assert (await live_service.http.get(f"/api/sessions/{before}/swings")).json() == old


async def test_factors_found_between_swings_leave_those_before_as_they_were(live_service):
    """The analysis begins again when they come, and finds the earlier swings the same."""
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        sent = Sent(line)
        swinging = golfer_session(gain=True)
        await sent.swings(swinging)
        for number, axis in enumerate(np.eye(3)):
            after = int(swinging.spans[-1].end_s / (SET_S + 1.0)) + 2 + number
            await sent.turns(axis, after)
            answer = await check(live_service, session, "pelvis")
            assert answer.status_code == 200, answer.text
        swings = await swings_of(live_service, line, session)
    assert answer.json()["done"]
    assert same_as_again(live_service, session)
    assert np.abs(peaks(swings) / true_peaks() - 1.0).min() > 0.003


@pytest.mark.parametrize(
    ("axis", "how", "turns", "words"),
    [
        ((1.0, 0.0, 0.0), {}, 4, "shows 5.0"),
        ((1.0, 0.0, 0.0), {"rest_s": 0.05}, TURNS, "at rest for a second"),
        ((0.7, 0.0, 0.7), {}, TURNS, "no one axis"),
    ],
)
async def test_a_bad_set_is_refused_with_words_and_not_kept(live_service, axis, how, turns, words):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        sent = Sent(line)
        await sent.turns(np.array(axis) / np.linalg.norm(axis), 0, gain=False, **how)
        answer = await check(live_service, session, "pelvis", turns=turns)
        assert answer.status_code == 409
        assert words in answer.json()["detail"]
        await sent.turns((0.0, 1.0, 0.0), 1)
        assert (await check(live_service, session, "pelvis")).json()["sets"] == ["y"]


async def test_a_set_made_again_takes_the_place_of_the_first(live_service):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        sent = Sent(line)
        await sent.turns((1.0, 0.0, 0.0), 0, gain=False)
        await check(live_service, session, "pelvis")
        for number, axis in enumerate(np.eye(3), start=1):
            await sent.turns(axis, number)
            found = (await check(live_service, session, "pelvis")).json()
    assert np.array(found["factors"]) * GAIN["pelvis"] == pytest.approx(np.ones(3), abs=0.0005)


async def test_a_sensor_that_sends_nothing_is_named(live_service):
    async with line_to(live_service.address) as line:
        session = (await line.hello()).session
        answer = await check(live_service, session, "upper_back")
    assert answer.status_code == 409
    assert "The upper back sensor sends nothing now" in answer.json()["detail"]


async def test_two_sensors_of_one_name_are_told_apart_by_their_address_or_refused(live_service):
    alike = [msgspec.structs.replace(one, sensor="board") for one in STREAMS]
    async with line_to(live_service.address) as line:
        session = (await line.hello(streams=alike)).session
        await Sent(line).turns((1.0, 0.0, 0.0), 0)
        answer = await check(live_service, session, "pelvis")
        assert answer.status_code == 409
        assert "Both sensors of this session are called board" in answer.json()["detail"]
    addressed = [
        msgspec.structs.replace(
            one, sensor="board", address=one.segment, stream_id=one.stream_id + "-2"
        )
        for one in STREAMS
    ]
    async with line_to(live_service.address) as line:
        session = (await line.hello(streams=addressed)).session
        await Sent(line, "-2").turns((1.0, 0.0, 0.0), 0)
        assert (await check(live_service, session, "pelvis")).status_code == 200
