"""Replay and simulation as live streams: the same samples, in order of time, at any speed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sensors.clock import SourceClock, TickClock
from sensors.errors import SourceError
from sensors.faults import SensorFaults
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.pace import Pace
from sensors.practice_plan import PracticePlan
from sensors.recording import Recording, SensorRecording
from sensors.replay import PACKET_S, ReplaySource
from sensors.simulated import SimulatedSource
from sensors.source import SamplePacket, StreamStarted
from sensors.wire import Mark


class FakeTime:
    """A clock that moves only when somebody sleeps."""

    def __init__(self) -> None:
        self.now = 100.0
        self.slept: list[float] = []

    def read(self) -> float:
        return self.now

    async def sleep(self, delay: float) -> None:
        self.slept.append(delay)
        self.now += delay

    def pace(self, speed: float) -> Pace:
        return Pace(speed, now=self.read, sleep=self.sleep)


def sensor(segment, time_s) -> SensorRecording:
    rng = np.random.default_rng(len(segment))
    gyro, accel = rng.normal(size=(2, len(time_s), 3)).astype(np.float32).astype(np.float64)
    return SensorRecording(segment, time_s, gyro, accel, 200.0, "sensor A", 2000.0, 16.0, "mean")


def recording() -> Recording:
    times = 5.0 + np.arange(1000) / 200.0
    return Recording(
        "sub-01_task-swing",
        sensor("pelvis", times),
        sensor("upper_back", times[20:] + 0.0012),
        (Mark(kind="bow", start_s=7.0, end_s=8.0), Mark(kind="stand", start_s=5.5, end_s=6.5)),
    )


async def all_of(source):
    return [event async for event in source.events()]


def packets(events, stream_id):
    return [e for e in events if isinstance(e, SamplePacket) and e.stream_id == stream_id]


async def test_a_replay_gives_every_sample_to_the_bit_with_the_sensor_s_facts():
    recorded = recording()
    events = await all_of(ReplaySource(recorded, speed=0.0))
    starts = events[:2]
    for start, original in zip(starts, (recorded.pelvis, recorded.upper_back), strict=True):
        assert isinstance(start, StreamStarted)
        stream = start.stream
        assert (stream.segment, stream.sensor) == (original.segment, "sensor A")
        assert (stream.gyro_range_dps, stream.accel_range_g, stream.rate_hz) == (2000, 16, 200)
        assert stream.rate_sample == "mean"
        parts = packets(events, stream.stream_id)
        times = np.concatenate([start.clock.session_times(part)[0] for part in parts])
        assert times.tobytes() == original.time_s.tobytes()
        assert np.concatenate([p.gyro for p in parts]).tobytes() == original.gyro.tobytes()
        assert np.concatenate([p.accel for p in parts]).tobytes() == original.accel.tobytes()
        assert max(np.ptp(part.time_s) for part in parts) < PACKET_S


async def test_events_come_in_order_of_time_and_a_mark_when_its_stretch_has_passed():
    events = await all_of(ReplaySource(recording(), speed=0.0))
    ends = [e.end_s if isinstance(e, Mark) else e.received_s for e in events[2:]]
    assert ends == sorted(ends)
    assert [e.kind for e in events if isinstance(e, Mark)] == ["stand", "bow"]


async def test_every_start_of_a_replay_is_a_new_stream():
    source = ReplaySource(recording(), speed=0.0)
    ids = [e.stream.stream_id for _ in range(2) for e in (await all_of(source))[:2]]
    assert len(set(ids)) == 4


async def test_missing_samples_of_a_recording_are_counted():
    recorded = recording()
    keep = np.r_[0:400, 407:1000]
    pelvis = recorded.pelvis
    holed = replace(
        pelvis, time_s=pelvis.time_s[keep], gyro=pelvis.gyro[keep], accel=pelvis.accel[keep]
    )
    events = await all_of(ReplaySource(replace(recorded, pelvis=holed), speed=0.0))
    parts = packets(events, events[0].stream.stream_id)
    assert sum(part.lost_before for part in parts) == 7
    (after,) = (part for part in parts if part.lost_before)
    assert (after.ticks[0], after.time_s[0]) == (407, pelvis.time_s[407])


@pytest.mark.parametrize("speed", [1.0, 4.0])
async def test_time_passes_at_the_speed_asked_for(speed):
    time = FakeTime()
    source = ReplaySource(recording(), pace=time.pace(speed))
    async for event in source.events():
        if isinstance(event, SamplePacket):
            assert source.now_s() == pytest.approx(event.received_s)
    assert time.now - 100.0 == pytest.approx((source.duration_s - 0.045) / speed, abs=0.02)


async def test_a_replay_that_was_held_up_catches_up():
    time = FakeTime()
    source = ReplaySource(recording(), pace=time.pace(1.0))
    async for event in source.events():
        if isinstance(event, SamplePacket) and event.received_s > 7.0 and time.now < 103.0:
            time.now += 2.0
    assert time.now - 100.0 == pytest.approx(source.duration_s, abs=0.06)


@pytest.mark.parametrize("speed", [0.0, float("inf")])
async def test_as_fast_as_it_goes_never_sleeps_but_lets_others_have_their_turn(speed):
    time = FakeTime()
    source = ReplaySource(recording(), pace=time.pace(speed))
    await all_of(source)
    assert set(time.slept) == {0.0}
    assert source.now_s() == recording().end_s


@pytest.mark.parametrize("speed", [-1.0, float("nan")])
def test_a_speed_that_is_none(speed):
    with pytest.raises(SourceError, match="speed must be 0"):
        ReplaySource(recording(), speed=speed)


def simulated(**faults) -> SimulatedRangeSession:
    worn = {"pelvis": SensorFaults(**faults), "upper_back": SensorFaults(rate_hz=100.0)}
    return SimulatedRangeSession(PracticePlan(swings=1, busy=0.0), worn, seed=3)


async def test_the_simulated_golfer_streams_what_both_sensors_sense():
    session = simulated(gyro_range_dps=2000.0, accel_range=16 * 9.80665, averages=True)
    events = await all_of(SimulatedSource(session, speed=0.0))
    for start in events[:2]:
        expected = session.sensor(start.stream.segment)
        parts = packets(events, start.stream.stream_id)
        times = np.concatenate([start.clock.session_times(part)[0] for part in parts])
        assert times.tobytes() == expected.time_s.tobytes()
        assert np.concatenate([p.gyro for p in parts]).tobytes() == expected.gyro.tobytes()
        assert np.concatenate([p.ticks for p in parts]).tolist() == expected.ticks.tolist()
    assert events[0].stream.accel_range_g == pytest.approx(16.0)
    assert [start.stream.rate_sample for start in events[:2]] == ["mean", None]
    assert [(e.kind, e.start_s) for e in events if isinstance(e, Mark)] == [
        (mark.kind, mark.start_s) for mark in session.marks
    ]
    ends = [e.end_s if isinstance(e, Mark) else e.received_s for e in events[2:]]
    assert ends == sorted(ends)


async def test_what_the_simulated_radio_loses_is_counted():
    session = simulated(batch_loss=0.1, gaps=((10.0, 10.5),))
    events = await all_of(SimulatedSource(session, speed=0.0))
    numbers = session.sensor("pelvis").number
    parts = packets(events, events[0].stream.stream_id)
    assert sum(part.lost_before for part in parts) == numbers[-1] + 1 - len(numbers) > 100


async def test_a_simulated_session_without_end_goes_on():
    session = SimulatedRangeSession(PracticePlan(swings=None, busy=0.0), seed=4)
    events = SimulatedSource(session, speed=0.0).events()
    last = 0.0
    async for event in events:
        if isinstance(event, SamplePacket):
            last = event.received_s
        if last > 120.0:
            break
    await events.aclose()
    assert last > 120.0


def test_a_clock_of_ticks_is_a_straight_line():
    ticks = np.array([0, 5, 10])
    packet = SamplePacket("s", ticks, np.zeros((3, 3)), np.zeros((3, 3)), 1.0)
    times, u_s = TickClock(0.001, start_s=2.0, u_s=0.003).session_times(packet)
    assert times.tolist() == pytest.approx([2.0, 2.005, 2.01])
    assert u_s == 0.003


def test_a_source_without_times_needs_a_clock_of_its_own():
    packet = SamplePacket("s", np.array([0]), np.zeros((1, 3)), np.zeros((1, 3)), 1.0)
    with pytest.raises(SourceError, match="gives no times of its own"):
        SourceClock().session_times(packet)
