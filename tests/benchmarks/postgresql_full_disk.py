"""PostgreSQL on a disk that runs full while two sensors stream: what is said, and what is stored.

    python -m tests.benchmarks.postgresql_full_disk

Twice, on a disk of 64 MB in memory: where a table finds no room the server refuses writes and goes
on; where its log finds none the server ends, and is started again once there is room. Prints what
the service said and how many samples are stored. Needs Linux, root and PostgreSQL.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from analysis.samples import Segment
from sensors.collector import Collector
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.spool import MemorySpool
from server.settings import Settings
from tests.support.numbered_streams import FIRST, Told, counted
from tests.support.postgresql import Cluster, binaries, runs_as
from tests.support.running_service import running
from tests.support.small_disk import SmallDisk, small_disk

DISK_BYTES = 64 * 1024 * 1024
SAMPLES = 24_000
TROUBLE_WITHIN_S, STORED_WITHIN_S = 60.0, 120.0


@dataclass(frozen=True)
class Case:
    """What finds no room. wal: settings of the server's log; leave: bytes left on the disk."""

    name: str
    wal: str
    leave: int
    ends: bool


CASES = (
    Case("a table finds no room", "-c max_wal_size=4MB -c min_wal_size=2MB", 100_000, ends=False),
    Case("the log finds no room", "-c max_wal_size=64MB", 2_600_000, ends=True),
)


class OnSmallDisk:
    """A PostgreSQL server whose data lie on a small disk."""

    def __init__(self, folder: Path, disk: SmallDisk, wal: str) -> None:
        user = runs_as()
        for place in (folder, disk.folder):
            if user is not None:
                shutil.chown(place, user)
        self.cluster = Cluster(folder, binaries(), user)
        self._data = str(disk.folder / "data")
        self._options = f"-k {folder} -c listen_addresses='' -c shared_buffers=8MB {wal}"
        self._log = f"{folder}/log"
        made = ("-U", "tests", "-A", "trust", "-E", "UTF8", "--no-sync", "--wal-segsize=1")
        self.cluster.run("initdb", "-D", self._data, *made)

    def start(self) -> None:
        self.cluster.run(
            *("pg_ctl", "-D", self._data, "-w", "-o", self._options, "-l", self._log, "start")
        )

    def stop(self) -> None:
        self.cluster.run("pg_ctl", "-D", self._data, "-m", "immediate", "-w", "stop")


@contextlib.contextmanager
def on_small_disk(wal: str) -> Iterator[tuple[OnSmallDisk, SmallDisk]]:
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    folder.chmod(0o755)
    try:
        with small_disk(folder / "disk", DISK_BYTES) as disk:
            server = OnSmallDisk(folder, disk, wal)
            server.start()
            try:
                yield server, disk
            finally:
                server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


async def trial(case: Case) -> bool:
    """One case; whether every sample is stored once and in order."""
    print(f"{case.name}:")
    told = Told()
    with on_small_disk(case.wal) as (server, disk):
        url = server.cluster.new_database()
        async with running(Settings(url, port=0, radio=False)) as service:
            disk.fill(leave=case.leave)
            port = int(service.address.rstrip("/").rsplit(":", 1)[1])
            source = ReplaySource(counted(SAMPLES), speed=0.0)
            to = ServiceAddress.of("127.0.0.1", port)
            run = Collector(
                source, to, MemorySpool(), news=told, delays=lambda: itertools.repeat(0.3)
            )
            collecting = asyncio.create_task(run.run())
            async with asyncio.timeout(TROUBLE_WITHIN_S):
                await told.says("samples wait in the collector")
            await asyncio.sleep(2.0)
            print(f"  the service says: {service.parts.commits.trouble}")
            answer = await service.http.get("/api/sessions")
            print(f"  a page that asks for the sessions gets {answer.status_code}")
            disk.free()
            if case.ends:
                server.start()
            async with asyncio.timeout(STORED_WITHIN_S):
                await collecting
            found = [stored(service, run.session, one) for one in Segment]
            return all(found)


def stored(service, session: str, segment: Segment) -> bool:
    numbers = service.parts.store.raw.samples(session, segment).gyro[:, 0].astype(int).tolist()
    first = FIRST[segment.value]
    exactly = numbers == list(range(first, first + SAMPLES))
    print(f"  {segment.value}: {len(numbers)} of {SAMPLES} stored, each once in order: {exactly}")
    return exactly


async def main() -> bool:
    done = [await trial(case) for case in CASES]
    return all(done)


if __name__ == "__main__":
    sys.exit(0 if asyncio.run(main()) else "samples were lost, doubled or out of order")
