"""How a stream is doing, said in time."""

from __future__ import annotations

import random
from itertools import islice

import pytest

from sensors.backoff import FIRST_S, LONGEST_S, backoff_delays
from sensors.stream_monitor import StreamMonitor
from sensors.wire import Stream, StreamReport

STREAM = Stream(stream_id="s", segment="pelvis", sensor="x", rate_hz=200.0)


def fed(until_s: float, *, rate: float = 200.0, lost: int = 0) -> StreamMonitor:
    """A monitor of a stream that sent a packet of 10 every 10 / rate s."""
    monitor = StreamMonitor(STREAM, 0.0)
    steps = int(until_s * rate / 10.0)
    for i in range(1, steps + 1):
        monitor.arrived(10, i * 10.0 / rate, lost=lost if i == 1 else 0, clock_u_s=0.001)
    return monitor


def test_a_stream_that_flows_is_streaming_at_its_rate():
    report = fed(10.0, lost=4).report(10.0)
    assert report.state == "streaming"
    assert report.rate_hz == pytest.approx(200.0, rel=0.02)
    assert (report.lost, report.clock_u_s, report.at_s) == (4, 0.001, 10.0)


def test_a_stream_is_judged_by_its_own_time_from_its_start_on():
    report = fed(0.5).report(0.5)
    assert report.state == "streaming"
    assert report.rate_hz == pytest.approx(200.0, rel=0.05)


def test_a_stream_below_nine_tenths_of_its_rate_is_slow():
    assert fed(10.0, rate=170.0).report(10.0).state == "slow"
    assert fed(10.0, rate=190.0).report(10.0).state == "streaming"


def test_a_second_without_samples_is_silence():
    monitor = fed(10.0)
    assert monitor.report(10.2).state == "streaming"
    assert monitor.report(10.9).state == "slow"
    assert monitor.report(11.1).state == "silent"
    assert monitor.report(20.0).rate_hz == 0.0


def test_a_stream_that_never_began_is_silent():
    assert StreamMonitor(STREAM, 5.0).report(5.5).state == "streaming"
    assert StreamMonitor(STREAM, 5.0).report(6.5).state == "silent"


def test_a_sensor_that_the_source_calls_lost_is_lost_until_it_sends_again():
    monitor = fed(10.0)
    monitor.said(
        StreamReport(stream_id="s", state="lost", at_s=10.1, rate_hz=0.0, battery_percent=40)
    )
    report = monitor.report(10.2)
    assert (report.state, report.battery_percent, report.at_s) == ("lost", 40, 10.2)
    monitor.arrived(10, 10.3, lost=40, clock_u_s=0.001)
    assert monitor.report(10.35).state != "lost"
    assert monitor.report(10.35).lost == 40


def test_delays_grow_to_a_ceiling_and_differ():
    delays = list(islice(backoff_delays(random.Random(1)), 40))
    assert all(0.5 * FIRST_S <= delay <= LONGEST_S for delay in delays)
    assert delays[0] <= FIRST_S < delays[4]
    assert max(delays[-10:]) > 0.5 * LONGEST_S
    assert len(set(delays)) == 40
