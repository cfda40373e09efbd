"""A simulated golfer's swings through the emulated radio against the same motion without it.

In real time, one minute; prints a table (pytest -s).
"""

from __future__ import annotations

import asyncio
import time
from dataclasses import replace

import numpy as np

from analysis.calibration import calibrate
from analysis.results import GolferFacts, Handedness, Interval
from analysis.samples import SampleTable, Segment
from analysis.session import analyse_session
from sensors.bluetooth_source import BluetoothSource
from sensors.collector import Collector
from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.spool import MemorySpool
from sensors.worn_sensors import worn_sensors
from server.cli.service_address import ServiceUrl
from server.settings import Settings, sqlite_url
from tests.support.bluetooth_rig import bluetooth_rig
from tests.support.counted_samples import ACCEL_COUNT, ADDRESSES, GYRO_COUNT, QUICK, worn
from tests.support.running_service import running

SWINGS = 4
COLUMNS = {
    "pelvis_turn_top_deg": "deg",
    "upper_back_turn_top_deg": "deg",
    "separation_top_deg": "deg",
    "separation_max_deg": "deg",
    "pelvis_peak_dps": "deg/s",
    "upper_back_peak_dps": "deg/s",
    "transition_lead_ms": "ms",
    "peak_gap_ms": "ms",
    "backswing_s": "s",
    "downswing_s": "s",
}


async def test_swings_over_the_radio_are_those_without_it(tmp_path):
    plan = PracticePlan(swings=SWINGS, busy=0.0)
    faults = worn_sensors(np.random.default_rng(1), LONG_TURN_GOLFER)
    faults = {segment: replace(one, clock_drift_ppm=0.0) for segment, one in faults.items()}
    simulated = SimulatedRangeSession(plan, faults, 3, LONG_TURN_GOLFER)
    tables, counts = {}, {}
    for segment in ADDRESSES:
        samples = simulated.sensor(segment)
        gyro, accel = np.rint(samples.gyro / GYRO_COUNT), np.rint(samples.accel / ACCEL_COUNT)
        counts[segment] = str(tmp_path / f"{segment}.npz")
        np.savez(counts[segment], gyro=gyro.astype(np.int16), accel=accel.astype(np.int16))
        tables[segment] = SampleTable(samples.time_s, gyro * GYRO_COUNT, accel * ACCEL_COUNT)
    marks = {mark.kind: Interval(mark.start_s, mark.end_s) for mark in simulated.marks}
    calibration = calibrate(
        tables["pelvis"], tables["upper_back"], marks["stand"], marks["bow"], from_s=0.0
    )
    facts = GolferFacts(Handedness.RIGHT)
    without = analyse_session(tables["pelvis"], tables["upper_back"], [calibration], facts)
    through = await _through_the_radio(tmp_path, tables, counts, marks)
    assert len(without) == len(through) == SWINGS
    _compare(without, through)


async def _through_the_radio(tmp_path, tables, counts, marks):
    """The swings as the service found them."""
    settings = Settings(sqlite_url(tmp_path / "torsolog.db"), port=0)
    async with bluetooth_rig() as rig, running(settings) as service:
        begun_s = time.monotonic()
        for segment, address in ADDRESSES.items():
            await rig.add(
                address,
                name=f"torsolog {segment[0].upper()}",
                motion=counts[segment],
                motion_from_s=begun_s + float(tables[segment].time_s[0]),
                clock_ppm=40.0 if segment == "pelvis" else -40.0,
                clock_at_boot_s=100.0,
            )
        source = BluetoothSource(worn(), timing=QUICK)
        address = ServiceUrl.parse(service.address, None).for_collector()
        collector = Collector(source, address, MemorySpool())
        stop = asyncio.Event()
        run = asyncio.create_task(collector.run(stop))
        await asyncio.sleep(marks["bow"].end_s + 1.0)
        # What the session calls the moment at which the motion began.
        offset_s = source.now_s() - (time.monotonic() - begun_s)
        for kind, span in marks.items():
            mark = {
                "kind": kind,
                "start_s": span.start_s + offset_s,
                "end_s": span.end_s + offset_s,
            }
            path = f"/api/sessions/{collector.session}/marks"
            (await service.http.post(path, json=mark)).raise_for_status()
        left_s = tables["pelvis"].time_s[-1] - (time.monotonic() - begun_s)
        await asyncio.sleep(left_s - 0.5)
        stop.set()
        await run
        for segment in Segment:
            late = service.parts.store.raw.samples(collector.session, segment, start_s=left_s)
            print(f"\n{segment.value}: clock u in the end {1e3 * late.time_u_s:.2f} ms", end="")
        return [record.swing for record in service.parts.store.swings.of_session(collector.session)]


def _compare(without, through) -> None:
    print("\n| number | largest difference | stated uncertainty, largest |")
    for column, unit in COLUMNS.items():
        pairs = list(zip(without, through, strict=True))
        off = max(abs(b.metrics[column] - a.metrics[column]) for a, b in pairs)
        u = max(b.uncertainty.get(column, 0.0) for _, b in pairs)
        print(f"| {column} | {off:.3f} {unit} | {u:.3f} {unit} |")
        assert off <= 2.0 * u, column
