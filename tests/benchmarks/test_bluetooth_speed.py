"""What the Bluetooth client carries, what it costs and how late it is; prints a table (pytest -s).

The radio is emulated: figures are of the computer's part, from the system's notification on.
"""

from __future__ import annotations

import asyncio
import os
import platform
import re
import subprocess
import sys
import time
from pathlib import Path

import msgspec
import numpy as np
import pytest

from sensors import wire
from sensors.bluetooth_source import BluetoothSource
from sensors.collector import Collector
from sensors.disk_spool import DiskSpool
from sensors.profile import HexBytes, Profile
from server.cli.service_address import ServiceUrl
from tests.support.bluetooth_rig import PELVIS, ROOT, UPPER_BACK, bluetooth_rig
from tests.support.counted_samples import QUICK, expected, taking, worn

SECONDS = 10.0


def told(what: str, figure: str) -> None:
    print(f"\n| {what} | {figure} | {platform.machine()}, {os.cpu_count()} cores |", end="")


def at_rate(profile: Profile, rate_hz: int) -> Profile:
    """The same sensor, started at another rate."""
    start = msgspec.structs.replace(
        profile.start[0], bytes=HexBytes(b"\x01" + rate_hz.to_bytes(2, "little"))
    )
    return msgspec.structs.replace(profile, rate_hz=float(rate_hz), start=(start,))


@pytest.mark.parametrize("rate_hz", [200, 500, 1000, 2000])
async def test_notifications_are_taken_without_loss(rate_hz):
    """One sample a notification, as a sensor sends that knows no better; two sensors."""
    async with bluetooth_rig() as rig:
        await rig.add_pair(samples_per_packet=1, interval_s=0.0075)
        profile = at_rate(worn()[0].profile, rate_hz)
        async with taking(profile=profile) as taken:
            await taken.flows("upper_back", rate_hz // 10)
            begun, cpu = time.perf_counter(), time.process_time()
            had = sum(len(packets) for packets in taken.packets.values())
            await asyncio.sleep(SECONDS)
            took, cpu = time.perf_counter() - begun, time.process_time() - cpu
            came = sum(len(packets) for packets in taken.packets.values()) - had
        for segment, packets in taken.packets.items():
            assert taken.lost(segment) == 0
            assert taken.numbers(segment) == list(range(len(packets)))
    told(
        f"2 sensors, {rate_hz} notifications/s each, one sample in each",
        f"{came / took:.0f} notifications/s taken, none lost, {100 * cpu / took:.0f} % of a core",
    )
    if rate_hz == 200:
        assert came / took == pytest.approx(400.0, rel=0.01)


@pytest.mark.parametrize("samples", [1, 8])
async def test_samples_are_soon_on_the_services_disk(tmp_path, samples):
    command = [sys.executable, "-m", "server.cli", "serve", "--no-browser", "--port", "0"]
    database = ["--database", str(tmp_path / "torsolog.db")]
    with subprocess.Popen(  # noqa: ASYNC220 - the service is a process of its own, as on the range
        [*command, *database], cwd=ROOT, stderr=subprocess.PIPE, text=True
    ) as service:
        try:
            address = re.search(r"http://\S+", service.stderr.readline()).group()
            await _measure(tmp_path, ServiceUrl.parse(address, None), service.pid, samples)
        finally:
            service.terminate()


async def _measure(tmp_path, url: ServiceUrl, pid: int, samples: int) -> None:
    async with bluetooth_rig() as rig:
        await rig.add_pair(samples_per_packet=samples, interval_s=0.0075)
        source = BluetoothSource(worn(), timing=QUICK)
        collector = Collector(source, url.for_collector(), DiskSpool(tmp_path / "spool"))
        newest, oldest = _watched(collector)
        stop = asyncio.Event()
        run = asyncio.create_task(collector.run(stop))
        while not newest:  # noqa: ASYNC110 - nothing to wait on in a collector
            await asyncio.sleep(0.05)
        begun, cpu, theirs = time.perf_counter(), time.process_time(), _cpu_s(pid)
        newest.clear()
        oldest.clear()
        await asyncio.sleep(SECONDS)
        took = time.perf_counter() - begun
        cpu, theirs = time.process_time() - cpu, _cpu_s(pid) - theirs
        late, kept = (np.percentile(1e3 * np.array(one), (50, 99)) for one in (newest, oldest))
        stop.set()
        await run
        for address in (PELVIS, UPPER_BACK):
            assert len(expected((await rig.state(address))["sent"])) >= 200 * SECONDS
    told(
        f"2 sensors at 200 Hz, {samples} samples a packet: arrival to acknowledged on disk",
        f"newest sample {late[0]:.0f} ms (99 %: {late[1]:.0f}), oldest of its batch {kept[0]:.0f} "
        f"ms (99 %: {kept[1]:.0f}); collector {100 * cpu / took:.0f} %, service "
        f"{100 * theirs / took:.0f} % of a core",
    )
    assert late[0] < 50.0
    assert kept[0] < 200.0


def _watched(collector: Collector) -> tuple[list[float], list[float]]:
    """Ages of a batch's newest and oldest sample when the service says that it is committed, s."""
    newest, oldest = [], []
    sent: dict[tuple[str, int], tuple[float, float]] = {}
    append, receive = collector.uplink.append, collector.uplink.receive

    def appended(message) -> None:
        if isinstance(message, wire.SampleBatch):
            time_s, _, _ = wire.batch_arrays(message)
            sent[message.stream_id, message.sequence] = (message.received_s, float(time_s[0]))
        append(message)

    def received(message) -> None:
        if isinstance(message, wire.Acknowledge):
            now_s = collector.source.now_s()
            arrived_s, first_s = sent[message.stream_id, message.sequence]
            newest.append(now_s - arrived_s)
            oldest.append(now_s - first_s)
        receive(message)

    collector.uplink.append, collector.uplink.receive = appended, received
    return newest, oldest


def _cpu_s(pid: int) -> float:
    """Processor time of another process, s."""
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
