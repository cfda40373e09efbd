"""Stands and bows made one after another count together; a swing or a gap between ends that."""

from __future__ import annotations

import dataclasses
import functools
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.pooled_calibration import pooled
from analysis.samples import SampleTable, Segment
from sensors import wire
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.practice_plan import Activity, PracticePlan
from sensors.recording import Recording, SensorRecording
from server.calibrating import calibration_of, pairs, repeated_calibration
from server.clock import SystemClock
from server.live_session import LiveSession
from server.reanalyse import reanalyse
from server.recording_analysis import analyse_recording
from server.recording_session import whole_session
from server.store import NewSession, incoming
from tests.support.wire_line import STREAMS, simulated_messages

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
STAND, BOW, SWING, WAIT = Activity.STAND, Activity.BOW, Activity.SWING, Activity.WAIT


class RepeatedPlan(PracticePlan):
    """Two stands and bows, a swing, another stand and bow, and a swing."""

    def activities(self, _rng):
        yield from (WAIT, STAND, BOW, STAND, BOW, SWING, WAIT, STAND, BOW, SWING, WAIT)


@functools.cache
def simulated():
    """Batches and marks."""
    messages = list(simulated_messages(SimulatedRangeSession(RepeatedPlan(), seed=6)))
    marks = [one for one in messages if isinstance(one, wire.Mark)]
    return [one for one in messages if isinstance(one, wire.SampleBatch)], marks


def analysed(store, *, late_marks=False):
    """The id of a session whose marks came in time or after all samples."""
    session = store.sessions.open(NewSession("Morning", NOW)).id
    store.sessions.declare_streams(session, STREAMS, NOW)
    live = LiveSession(store, session, lambda _message: None, SystemClock())
    batches, marks = simulated()
    for first in range(0, len(batches), 100):
        for one in () if late_marks else marks:
            if one.end_s < batches[first].received_s:
                store.sessions.add_mark(session, one)
        store.raw.append([incoming(session, one) for one in batches[first : first + 100]])
        while live.advance():
            continue
    for one in marks:
        store.sessions.add_mark(session, one)
    live.finish()
    return session


def bare(swings):
    return [dataclasses.replace(one, curves=None) for one in swings]


@pytest.mark.parametrize("late_marks", [False, True])
def test_repeats_before_a_swing_are_one_calibration_and_the_one_after_it_its_own(store, late_marks):
    session = analysed(store, late_marks=late_marks)
    marks = simulated()[1]
    first, both, after = store.swings.calibrations(session)

    def samples(segment, start_s, end_s):
        return store.raw.samples(session, segment, start_s, end_s)

    single = [calibration_of(samples, pair) for pair in pairs(marks)]
    wanted = pooled(single[:2])
    for found, right in ((first, single[0]), (both, wanted), (after, single[2])):
        assert found.from_s == right.from_s
        for worn in ("pelvis", "upper_back"):
            mounting, expected = getattr(found, worn), getattr(right, worn)
            assert mounting.rotation.tolist() == expected.rotation.tolist()
            assert mounting.tilt_u_rad == expected.tilt_u_rad
    assert both.from_s == marks[0].start_s
    assert [one.repeats for one in (first, both, after)] == [1, 2, 1]
    assert both.pelvis.tilt_u_rad < first.pelvis.tilt_u_rad
    assert store.swings.newest_calibration(session).from_s == marks[4].start_s
    swings = [record.swing for record in store.swings.of_session(session)]
    assert len(swings) == 2
    assert swings == bare(reanalyse(store, session))


def test_a_recording_gives_the_same_calibrations_and_swings(store):
    session = analysed(store)
    found = analyse_recording(recording())
    kept = store.swings.calibrations(session)
    assert [one.from_s for one in found.calibrations] == [one.from_s for one in kept]
    for one, other in zip(found.calibrations, kept, strict=True):
        assert one.pelvis.rotation.tolist() == other.pelvis.rotation.tolist()
    swings = [record.swing for record in store.swings.of_session(session)]
    assert bare(found.swings) == swings
    imported = store.whole_sessions.add(whole_session(found, NewSession("Imported", NOW))).id
    assert bare(reanalyse(store, imported)) == swings


def recording():
    """The simulated session as a recording: float32 samples, as on the wire."""
    batches, marks = simulated()
    sensors = []
    for stream in STREAMS:
        own = [wire.batch_arrays(one) for one in batches if one.stream_id == stream.stream_id]
        sensors.append(
            SensorRecording(
                stream.segment, *(np.concatenate(part) for part in zip(*own, strict=True)), 200.0
            )
        )
    return Recording("sub-01_task-swing", *sensors, tuple(marks))


def between(change):
    """Samples of a still golfer who stands and bows at 0 and 20 s, with a change in between."""
    time_s = np.arange(0.0, 40.0, 0.01)
    gyro = np.zeros((len(time_s), 3))
    for bow_s in (4.0, 24.0):
        bowing = (time_s >= bow_s) & (time_s < bow_s + 3.0)
        gyro[bowing, 2] = -np.radians(90.0) * np.sin(2.0 * np.pi * (time_s[bowing] - bow_s) / 3.0)
    lean = np.cumsum(gyro[:, 2]) * 0.01
    accel = 9.81 * np.column_stack([np.sin(lean), np.cos(lean), np.zeros(len(lean))])
    kept = change(time_s, gyro)
    tables = {
        segment: SampleTable(time_s[kept], gyro[kept], accel[kept])
        if segment is Segment.UPPER_BACK
        else SampleTable(time_s, np.where(gyro > 5.0, 0.0, gyro), accel)
        for segment in Segment
    }
    return lambda segment, start_s, end_s: tables[segment].between(start_s, end_s)


def nothing(time_s, _gyro):
    return np.ones(len(time_s), dtype=bool)


def taken_off(time_s, _gyro):
    return (time_s < 10.0) | (time_s > 12.0)


def swung(time_s, gyro):
    gyro[1000:1020, 1] = 6.0
    return np.ones(len(time_s), dtype=bool)


@pytest.mark.parametrize(("change", "from_s"), [(nothing, 0.5), (taken_off, 20.5), (swung, 20.5)])
def test_a_gap_or_a_swing_between_two_pairs_makes_them_two_calibrations(change, from_s):
    marks = [
        wire.Mark(kind=kind, start_s=start_s, end_s=start_s + 3.0)
        for kind, start_s in (("stand", 0.5), ("bow", 4.0), ("stand", 20.5), ("bow", 24.0))
    ]
    first, second = pairs(marks)
    assert repeated_calibration(between(change), second, [first]).from_s == from_s


def test_a_repeat_that_cannot_be_read_is_passed_over():
    """Its bow was none, but the one before it counts with the one after it."""
    marks = [
        wire.Mark(kind=kind, start_s=start_s, end_s=start_s + 3.0)
        for kind, start_s in (("stand", 0.5), ("bow", 4.0), ("stand", 8.0), ("bow", 12.0))
    ]
    last = (
        wire.Mark(kind="stand", start_s=20.5, end_s=23.5),
        wire.Mark(kind="bow", start_s=24.0, end_s=27.0),
    )
    samples = between(nothing)
    found = repeated_calibration(samples, last, pairs(marks))
    single = calibration_of(samples, last)
    assert found.from_s == 0.5
    assert found.pelvis.tilt_u_rad < single.pelvis.tilt_u_rad
