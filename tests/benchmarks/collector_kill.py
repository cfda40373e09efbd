"""What a collector loses that is killed while the service is away: samples it had taken, not kept.

    python -m tests.benchmarks.collector_kill [KILLS]

A collector with two sensors at 200 Hz in real time, its spool on disk, is ended with SIGKILL at
KILLS (20) random moments, each time a new one. It says of every packet that it takes it; what it
said is held against what the next process finds in the spool.
"""

from __future__ import annotations

import asyncio
import logging
import random
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from sensors.collector import Collector
from sensors.disk_spool import DiskSpool, unfinished_runs
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.source import SamplePacket
from sensors.wire import SampleBatch, batch_arrays, decode_from_collector
from sensors.write_behind import WriteBehindSpool
from tests.support.bluetooth_rig import ROOT
from tests.support.numbered_streams import FIRST, counted

SAMPLES = 4000
NOBODY = ServiceAddress.of("127.0.0.1", 9)


class SayingSource(ReplaySource):
    """Says the number of a packet's last sample once the collector has taken the packet."""

    async def events(self):
        async for event in super().events():
            yield event
            if isinstance(event, SamplePacket):
                print(int(event.gyro[-1, 0]), flush=True)


async def collect(folder: Path) -> None:
    logging.getLogger("sensors").addHandler(logging.NullHandler())  # that nobody listens is known
    source = SayingSource(counted(SAMPLES), can_wait=False)
    spool = WriteBehindSpool(DiskSpool(folder / "run", overflow_bytes=0))
    await Collector(source, NOBODY, spool).run()


def taken_and_kept(folder: Path, rng: random.Random) -> list[tuple[int, int]]:
    """For each sensor, how many samples one killed collector had taken, and how many it kept."""
    command = [sys.executable, "-m", "tests.benchmarks.collector_kill", "--collect", str(folder)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        said = [process.stdout.readline() for _ in range(rng.randrange(20, 200))]
        process.send_signal(signal.SIGKILL)
        said += process.stdout.read().splitlines()
    numbers = [int(line) for line in said if line.strip()]
    (run,) = unfinished_runs(folder)
    spool = DiskSpool(run)
    frames = [decode_from_collector(spool.read(n)) for n in range(spool.first, spool.end)]
    spool.close(done=True)
    kept = np.concatenate(
        [batch_arrays(one)[1][:, 0] for one in frames if isinstance(one, SampleBatch)]
    ).astype(int)
    result = []
    for first in FIRST.values():
        ours = kept[(kept >= first) & (kept < first + SAMPLES)]
        assert ours.tolist() == list(range(first, first + len(ours))), "a hole or a double"
        last = max(number for number in numbers if first <= number < first + SAMPLES)
        result.append((last - first + 1, len(ours)))
    return result


def main(kills: int) -> None:
    rng = random.Random(1)
    lost = []
    for _ in range(kills):
        with tempfile.TemporaryDirectory() as folder:
            lost += [taken - kept for taken, kept in taken_and_kept(Path(folder), rng)]
    p50, p95, top = np.percentile(np.maximum(lost, 0), (50, 95, 100))
    print(
        f"{kills} kills, {len(lost)} streams: taken and not kept, median {p50:.0f}, 95 % "
        f"{p95:.0f}, most {top:.0f} samples of a sensor ({1e3 * top / 200.0:.0f} ms); "
        "no hole and no double in what was kept"
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--collect"]:
        asyncio.run(collect(Path(sys.argv[2])))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
