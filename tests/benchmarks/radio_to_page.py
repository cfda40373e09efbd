"""From an emulated notification to the page: how late, how many a second, at what cost.

    python -m tests.benchmarks.radio_to_page [SWINGS]

Two emulated 200 Hz sensors on a simulated golfer, the real Bluetooth client inside `torsolog serve`
as on the range, its disk, its analysis, and one reader of the live channel as a page is. In real
time, SWINGS (4) swings, once with 8 samples a packet and once with one. Linux only. The radio is
emulated, so its own delay is not in the figures; times are of the machine's one monotonic clock.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import platform
import re
import sqlite3
import sys
import tempfile
import time
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import httpx
import numpy as np
from websockets.asyncio.client import connect

from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.sensor_book import KnownSensor, SensorBook
from sensors.worn_sensors import worn_sensors
from tests.support.bluetooth_rig import ROOT, bluetooth_rig
from tests.support.counted_samples import ACCEL_COUNT, ADDRESSES, GYRO_COUNT, expected

RATE_HZ = 200.0
INTERVAL_S = 0.015
"""Connection interval of the emulated radio."""


@dataclass
class Seen:
    """What the page was sent, each with the moment at which it had it."""

    traces: list[tuple[float, float]] = field(default_factory=list)
    swings: list[tuple[float, dict[str, Any]]] = field(default_factory=list)
    calibrations: list[str] = field(default_factory=list)

    async def follow(self, url: str) -> None:
        async with connect(url, max_size=None) as socket:
            async for frame in socket:
                now_s, message = time.monotonic(), json.loads(frame)
                if message["type"] == "trace" and message["time_s"]:
                    self.traces.append((now_s, message["time_s"][-1]))
                elif message["type"] == "swing":
                    self.swings.append((now_s, message["swing"]))
                elif message["type"] == "calibration":
                    self.calibrations.append(message["text"])


def motion(folder: Path, swings: int) -> tuple[SimulatedRangeSession, dict[str, str], float]:
    """A golfer's session, the counts of each sensor in a file, and its length, s."""
    faults = worn_sensors(np.random.default_rng(1), LONG_TURN_GOLFER)
    faults = {segment: replace(one, clock_drift_ppm=0.0) for segment, one in faults.items()}
    plan = PracticePlan(swings=swings, busy=0.0)
    simulated = SimulatedRangeSession(plan, faults, 3, LONG_TURN_GOLFER)
    files, end_s = {}, 0.0
    for segment in ADDRESSES:
        samples = simulated.sensor(segment)
        gyro, accel = np.rint(samples.gyro / GYRO_COUNT), np.rint(samples.accel / ACCEL_COUNT)
        files[segment] = str(folder / f"{segment}.npz")
        np.savez(files[segment], gyro=gyro.astype(np.int16), accel=accel.astype(np.int16))
        end_s = float(samples.time_s[-1])
    return simulated, files, end_s


def remember(folder: Path) -> None:
    """The user's folders are in `folder`, and both sensors are assigned there."""
    os.environ["XDG_CONFIG_HOME"] = str(folder / "config")
    for segment, address in ADDRESSES.items():
        name = f"torsolog {segment[0].upper()}"
        SensorBook().assign(
            KnownSensor(address=address, name=name, profile="open-sensor", segment=segment)
        )


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


async def played(folder: Path, swings: int, samples: int) -> dict[str, Any]:
    """One session through radio, service and page; the figures."""
    simulated, files, end_s = motion(folder, swings)
    remember(folder)
    async with bluetooth_rig() as rig:
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "server.cli", "serve", "--no-browser", "--port", "0"),
            *("--database", str(folder / "torsolog.db")),
            cwd=ROOT,
            stderr=asyncio.subprocess.PIPE,
        )
        said = (await process.stderr.readline()).decode()
        address = re.search(r"http://[^/]+", said).group()
        begun_s = time.monotonic() + 3.0
        for segment, sensor in ADDRESSES.items():
            await rig.add(
                sensor,
                name=f"torsolog {segment[0].upper()}",
                motion=files[segment],
                motion_from_s=begun_s,
                samples_per_packet=samples,
                interval_s=INTERVAL_S,
            )
        seen = Seen()
        following = asyncio.create_task(seen.follow(address.replace("http", "ws") + "/api/live"))
        try:
            async with httpx.AsyncClient(base_url=address, timeout=30.0) as http:
                share = await train(http, simulated, begun_s, end_s, process.pid)
            sent_at = {one: await rig.order("sent at", address=at) for one, at in ADDRESSES.items()}
            numbers = {one: (await rig.state(at))["sent"] for one, at in ADDRESSES.items()}
        finally:
            following.cancel()
            await asyncio.gather(following, return_exceptions=True)
            process.terminate()
            await process.communicate()
    return figures(folder / "torsolog.db", seen, sent_at, numbers, samples) | {"cpu": share}


async def train(
    http: httpx.AsyncClient, simulated, begun_s: float, end_s: float, pid: int
) -> float:
    """Start the sensors, calibrate, let the golfer swing, stop; the service's share of a core."""
    started = (await http.post("/api/sensors/start", json={})).raise_for_status().json()
    marks = f"/api/sessions/{started['session_id']}/marks/now"
    for mark in sorted(simulated.marks, key=lambda one: one.end_s):
        await asyncio.sleep(begun_s + mark.end_s + 0.2 - time.monotonic())
        kept = {"kind": mark.kind, "seconds": min(20.0, mark.end_s - mark.start_s)}
        (await http.post(marks, json=kept)).raise_for_status()
    from_s, cpu = time.monotonic(), cpu_s(pid)
    await asyncio.sleep(begun_s + end_s - 0.5 - time.monotonic())
    share = (cpu_s(pid) - cpu) / (time.monotonic() - from_s)
    (await http.post("/api/sensors/stop")).raise_for_status()
    return share


def figures(database: Path, seen: Seen, sent_at, numbers, samples: int) -> dict[str, Any]:
    """How late each message was, by the samples in it; and what was stored of what was sent."""
    with contextlib.closing(sqlite3.connect(database)) as connection:
        stored = {segment: times(connection, segment) for segment in ADDRESSES}
        missing = connection.execute("SELECT SUM(lost_before) FROM batches").fetchone()[0]
    late = sum(len(expected(numbers[one])) - len(stored[one]) for one in ADDRESSES)
    packets = np.array([at for _, at in sent_at["pelvis"]])
    time_s = stored["pelvis"]
    packets = packets[: len(time_s) // samples]
    last_s = time_s[samples - 1 :: samples][: len(packets)]

    def notified(at_s: float) -> float:
        """When the packet with the sample nearest to a session time was handed to the radio."""
        index = int(np.argmin(np.abs(time_s - at_s)))
        return float(packets[min(index // samples, len(packets) - 1)])

    newest = [now_s - notified(at_s) for now_s, at_s in seen.traces]
    shown_to = np.array([at_s for _, at_s in seen.traces])
    first = np.searchsorted(shown_to, last_s - 1e-9)
    shown = first < len(shown_to)
    at = np.array([now_s for now_s, _ in seen.traces])
    every = at[first[shown]] - packets[shown]
    impacts = [now_s - notified(one["events"]["impact_s"]) for now_s, one in seen.swings]
    ends = [now_s - notified(one["window"]["end_s"]) for now_s, one in seen.swings]
    rate = sum((len(one) - 1) / (one[-1][1] - one[0][1]) for one in sent_at.values())
    return {
        "rate": rate,
        "missing": missing,
        "late": late,
        "newest": newest,
        "every": every.tolist(),
        "impacts": impacts,
        "ends": ends,
        "swings": len({one["number"] for _, one in seen.swings}),
        "calibrated": seen.calibrations,
    }


def times(connection: sqlite3.Connection, segment: str) -> np.ndarray:
    """Session time of every stored sample of a segment, in the order in which they were sent."""
    query = (
        "SELECT time_s FROM batches JOIN streams ON streams.id = stream_id "
        "WHERE segment = ? ORDER BY batches.id"
    )
    rows = connection.execute(query, [segment])
    return np.frombuffer(b"".join(row[0] for row in rows), "<f8")


def told(name: str, values: list[float]) -> str:
    p50, p95, top = np.percentile(values, (50, 95, 100)) * 1e3
    return f"| {name} | {len(values)} | {p50:.0f} | {p95:.0f} | {top:.0f} |"


def report(samples: int, found: dict[str, Any]) -> None:
    print(
        f"\n{samples} samples a packet: {found['rate']:.0f} notifications/s of both sensors, "
        f"service with radio {100 * found['cpu']:.0f} % of a core; {found['missing']} samples "
        f"missing in between, {found['late']} on their way at the stop; "
        f"{found['swings']} swings; {found['calibrated']}\n"
        "\n| from the notification | n | median, ms | 95 %, ms | most, ms |\n|---|---|---|---|---|"
    )
    print(told("to the live message that has its packet's samples, every packet", found["every"]))
    print(told("to that message, newest sample in it", found["newest"]))
    print(told("with a swing's impact to the swing on the page", found["impacts"]))
    print(told("with the end of a swing's window to the swing on the page", found["ends"]))


async def main(swings: int) -> None:
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, Linux {platform.release()}, "
        f"Python {platform.python_version()}, "
        + ", ".join(f"{name} {version(name)}" for name in ("bleak", "dbus-fast", "websockets"))
    )
    for samples in (8, 1):
        with tempfile.TemporaryDirectory() as folder:
            report(samples, await played(Path(folder), swings, samples))


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]) if len(sys.argv) > 1 else 4))
