"""Fills a store with the demo's golfers and their earlier sessions, analysed by the real code."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from analysis.results import Handedness, Sex
from sensors.bids_participants import Wearer
from sensors.golfer_simulation import SimulatedRangeSession
from sensors.recording import Recording, SensorRecording
from sensors.units import STANDARD_GRAVITY_MPS2
from sensors.wire import Mark, SegmentName
from server.demo.scenario import GOLFERS, SESSIONS, DemoGolfer, DemoSession
from server.recording_analysis import analyse_recording
from server.recording_session import whole_session
from server.store import NewGolfer, NewSession, Store


def fill(
    store: Store, now: datetime, on_session: Callable[[], None] = lambda: None
) -> dict[str, str]:
    """Add the club's golfers and earlier sessions, raw samples too; gives name -> golfer id.

    now: the demo's present, with its zone. on_session: called after each session.
    """
    ids = {golfer.name: _add_golfer(store, golfer, now) for golfer in GOLFERS}
    for session in SESSIONS:
        recording = simulated_recording(session.simulated(), session)
        found = analyse_recording(recording, store.golfers.facts(ids[session.golfer.name]))
        started_at = now - timedelta(days=session.days_ago)
        new = NewSession(session.title, started_at, ids[session.golfer.name], invented=True)
        store.whole_sessions.add(whole_session(found, new))
        on_session()
    return ids


def simulated_recording(simulated: SimulatedRangeSession, session: DemoSession) -> Recording:
    """A simulated session as a recording: what the sensors measured, at the wire's precision."""
    golfer = session.golfer.golfer
    return Recording(
        name=f"demo-{session.seed}",
        pelvis=_sensor(simulated, "pelvis"),
        upper_back=_sensor(simulated, "upper_back"),
        marks=tuple(Mark(kind=kind, start_s=a, end_s=b) for kind, a, b in simulated.marks),
        wearer=Wearer("demo", golfer.handedness, golfer.height_m, golfer.mass_kg),
    )


def _sensor(simulated: SimulatedRangeSession, segment: SegmentName) -> SensorRecording:
    samples, faults = simulated.sensor(segment), simulated.faults[segment]
    return SensorRecording(
        segment=segment,
        time_s=samples.time_s,
        gyro=_on_the_wire(samples.gyro),
        accel=_on_the_wire(samples.accel),
        rate_hz=faults.rate_hz,
        sensor=f"simulated {segment.replace('_', ' ')} sensor",
        gyro_range_dps=faults.gyro_range_dps,
        accel_range_g=None
        if faults.accel_range is None
        else faults.accel_range / STANDARD_GRAVITY_MPS2,
        rate_sample=faults.rate_sample,
    )


def _on_the_wire(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return values.astype(np.float32).astype(np.float64)


def _add_golfer(store: Store, golfer: DemoGolfer, now: datetime) -> str:
    person = NewGolfer(
        name=golfer.name,
        handedness=Handedness(golfer.golfer.handedness),
        birth_year=now.year - golfer.age,
        height_m=golfer.golfer.height_m,
        mass_kg=golfer.golfer.mass_kg,
        sex=Sex(golfer.sex),
        invented=True,
    )
    return store.golfers.add(person, now).id
