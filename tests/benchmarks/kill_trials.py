"""A service killed many times over a long stream: what is stored, counted by SQL.

    python -m tests.benchmarks.kill_trials [KILLS] [SEED]

Two numbered streams of 200 Hz as fast as they are taken. Up to KILLS (40) times before they end,
seeded by SEED (1), the service ends by SIGKILL: one time in three just before a commit, one in
three just after it and before anybody is told, else at a random moment; each time it is started
again on the same database.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import logging
import random
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from sensors.collector import Collector
from sensors.replay import ReplaySource
from sensors.service_link import ServiceAddress
from sensors.spool import MemorySpool
from tests.server.test_killed_at_commit import started
from tests.support.numbered_streams import assert_exactly_once, counted

SAMPLES_A_KILL = 4000
LONGEST_LIFE_S = 1.5
MOST_COMMITS = 60


class Deaths:
    """How the service ends next; the first of a run is told its way when it starts."""

    def __init__(self, kills: int, seed: int) -> None:
        self.left = kills
        self.came: Counter[str] = Counter()
        self._rng = random.Random(seed)
        self.kind = ""

    def next(self) -> tuple[str, ...]:
        """Words for the service's start; none where it lives on, or dies from outside."""
        if self.left == 0:
            self.kind = ""
            return ()
        self.kind = self._rng.choice(("before_commit", "after_commit", "any moment"))
        nth = str(self._rng.randrange(4, MOST_COMMITS))
        return () if self.kind == "any moment" else (self.kind, nth)

    def life_s(self) -> float | None:
        """How long a service lives that dies at any moment; None: it does so by itself or not."""
        return self._rng.uniform(0.0, LONGEST_LIFE_S) if self.kind == "any moment" else None

    def came_true(self) -> None:
        self.left -= 1
        self.came[self.kind] += 1


async def trial(database: Path, deaths: Deaths, samples: int) -> float:
    """Send everything through all deaths that come before its end; how long it took, s."""
    begun_s = time.perf_counter()
    service, port = await started(database, 0, *deaths.next())
    collector = Collector(
        ReplaySource(counted(samples), speed=0.0),
        ServiceAddress.of("127.0.0.1", port),
        MemorySpool(),
        delays=lambda: itertools.repeat(0.02),
    )
    collecting = asyncio.create_task(collector.run())
    try:
        while not collecting.done():
            ended = asyncio.create_task(service.wait())
            await asyncio.wait(
                {collecting, ended}, timeout=deaths.life_s(), return_when=asyncio.FIRST_COMPLETED
            )
            if not ended.done() and not collecting.done():
                service.kill()
                await ended
            if ended.done():
                deaths.came_true()
                service, _ = await started(database, port, *deaths.next())
            else:
                ended.cancel()
        await collecting
    finally:
        collecting.cancel()
        with contextlib.suppress(ProcessLookupError):
            service.kill()
        await service.wait()
    return time.perf_counter() - begun_s


async def main(kills: int, seed: int) -> None:
    logging.getLogger("sensors").addHandler(logging.NullHandler())  # lost lines are the point
    deaths, samples = Deaths(kills, seed), kills * SAMPLES_A_KILL
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "torsolog.db"
        took_s = await trial(database, deaths, samples)
        assert_exactly_once(database, counted(samples))
        with contextlib.closing(sqlite3.connect(database)) as connection:
            batches = connection.execute("SELECT COUNT(*) FROM batches").fetchone()[0]
            sound = connection.execute("PRAGMA integrity_check").fetchone()[0]
    print(
        f"{deaths.came.total()} kills in {took_s:.0f} s: {dict(deaths.came)}; {batches} batches, "
        f"2 x {samples} samples sent, each stored exactly once and in order; database {sound}"
    )


if __name__ == "__main__":
    asyncio.run(
        main(
            int(sys.argv[1]) if len(sys.argv) > 1 else 40,
            int(sys.argv[2]) if len(sys.argv) > 2 else 1,
        )
    )
