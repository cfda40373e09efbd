"""Samples cut into batches: at most 250 ms, nothing lost, gaps said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors import wire
from sensors.batching import Batcher
from sensors.source import SamplePacket
from sensors.wire import MAX_BATCH_SAMPLES, Stream

RATE_HZ = 200.0


def batcher(rate_hz: float = RATE_HZ, **options) -> Batcher:
    stream = Stream(stream_id="s", segment="pelvis", sensor="x", rate_hz=rate_hz, tick_s=0.001)
    return Batcher(stream, **options)


def packet(time_s, *, lost: int = 0, first: int = 0) -> SamplePacket:
    """Samples whose gyro x counts from `first`."""
    n = len(time_s)
    gyro = np.zeros((n, 3))
    gyro[:, 0] = first + np.arange(n)
    ticks = np.rint(np.nan_to_num(np.asarray(time_s)) * 1000.0).astype(np.int64)
    return SamplePacket("s", ticks, gyro, np.ones((n, 3)), float(n), lost)


def joined(batches):
    parts = [wire.batch_arrays(batch) for batch in batches]
    return [np.concatenate(column) for column in zip(*parts, strict=True)]


@given(
    st.lists(st.integers(1, 70), min_size=1, max_size=30),
    st.sampled_from([0.02, 0.1, 0.25]),
    st.sampled_from([25.0, 100.0, 200.0, 1600.0]),
)
@settings(deadline=None)
def test_however_packets_come_batches_hold_every_sample_once_in_order(sizes, span_s, rate_hz):
    cutter = batcher(rate_hz, span_s=span_s)
    time_s = 3.0 + np.arange(sum(sizes)) / rate_hz
    batches, at = [], 0
    for size in sizes:
        part = time_s[at : at + size]
        batches += cutter.add(packet(part, first=at), part)
        at += size
    batches += cutter.flush()
    times, gyro, _ = joined(batches)
    assert times.tobytes() == time_s.tobytes()
    assert gyro[:, 0].tolist() == list(range(sum(sizes)))
    assert [batch.sequence for batch in batches] == list(range(len(batches)))
    for batch in batches:
        held = wire.batch_arrays(batch)[0]
        assert held[-1] - held[0] <= span_s + 1e-9
        assert held[-1] - held[0] + 0.5 / rate_hz <= max(span_s, 1.0 / rate_hz) + 1e-9


def test_a_full_batch_does_not_wait_for_the_next_sample():
    time_s = np.arange(20) / RATE_HZ
    (batch,) = batcher(span_s=0.1).add(packet(time_s), time_s)
    assert len(wire.batch_arrays(batch)[0]) == 20


def test_ticks_count_from_the_first_sample_of_the_batch():
    time_s = 1.0 + np.arange(40) / RATE_HZ
    first, second = batcher(span_s=0.1).add(packet(time_s), time_s, 0.002)
    assert (first.first_tick, first.ticks_per_sample) == (1000, 5.0)
    assert (second.first_tick, second.time_u_s, second.received_s) == (1100, 0.002, 40.0)


def test_a_gap_ends_the_batch_and_the_next_says_what_is_missing():
    cutter = batcher()
    time_s = np.arange(10) / RATE_HZ
    assert cutter.add(packet(time_s), time_s) == []
    later = time_s + 0.5
    (before,) = cutter.add(packet(later, lost=90, first=100), later)
    (after,) = cutter.flush()
    assert (before.lost_before, len(before.time_s)) == (0, 80)
    assert (after.lost_before, len(after.time_s)) == (90, 80)


def test_a_value_the_wire_cannot_carry_is_left_out_and_said():
    time_s = np.arange(10) / RATE_HZ
    for bad in (np.nan, np.inf, 1e39):
        cutter = batcher()
        odd = packet(time_s)
        odd.accel[4:6, 1] = bad
        batches = cutter.add(odd, time_s) + cutter.flush()
        assert joined(batches)[1][:, 0].tolist() == [0, 1, 2, 3, 6, 7, 8, 9]
        assert [batch.lost_before for batch in batches] == [0, 2]
        assert cutter.rejected == 2


def test_time_that_steps_back_is_left_out_until_it_is_past_the_last():
    cutter = batcher()
    time_s = np.array([0.0, 0.005, 0.010, 0.002, 0.010, 0.015])
    batches = cutter.add(packet(time_s), time_s) + cutter.flush()
    assert joined(batches)[0].tolist() == [0.0, 0.005, 0.010, 0.015]
    assert cutter.rejected == 2
    again = np.array([0.012, 0.020])
    batches = cutter.add(packet(again), again) + cutter.flush()
    assert joined(batches)[0].tolist() == [0.020]
    assert batches[0].lost_before == 1


def test_no_batch_holds_more_than_the_wire_allows():
    rate_hz = 100_000.0
    time_s = np.arange(30_000) / rate_hz
    cutter = batcher(rate_hz, span_s=0.25)
    batches = cutter.add(packet(time_s), time_s) + cutter.flush()
    assert max(len(batch.time_s) // 8 for batch in batches) == MAX_BATCH_SAMPLES
    assert joined(batches)[0].tobytes() == time_s.tobytes()


@pytest.mark.parametrize("span_s", [0.0, -1.0, 0.26, float("nan")])
def test_a_span_that_the_wire_does_not_allow(span_s):
    with pytest.raises(ValueError, match=r"spans up to 0\.25 s"):
        batcher(span_s=span_s)


def test_an_empty_packet_is_nothing():
    cutter = batcher()
    assert cutter.add(packet(np.empty(0)), np.empty(0)) == []
    assert cutter.flush() == []
