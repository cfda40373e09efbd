"""Two sensors whose samples carry their number, and the numbers that a database holds, by SQL."""

from __future__ import annotations

import asyncio
import contextlib
import sqlite3
from pathlib import Path

import numpy as np

from sensors.recording import Recording, SensorRecording

WITHIN_S = 60.0
FIRST = {"pelvis": 0, "upper_back": 100_000}


def counted(samples: int, gap: slice = slice(0, 0)) -> Recording:
    """Two sensors at 200 Hz whose first gyro axis is the sample's number; `gap` was never sent."""
    sensors = []
    for segment, first in FIRST.items():
        gyro = np.zeros((samples, 3))
        gyro[:, 0] = first + np.arange(samples)
        kept = np.delete(np.arange(samples), gap)
        time_s = np.arange(samples) / 200.0
        sensors.append(
            SensorRecording(segment, time_s[kept], gyro[kept], np.ones((len(kept), 3)), 200.0)
        )
    return Recording("sub-01_task-swing", *sensors, ())


def numbers(database: Path, segment: str) -> list[int]:
    """Numbers of all stored samples of a segment, batch by batch in their streams' order."""
    query = (
        "SELECT gyro FROM batches JOIN streams ON streams.id = stream_id "
        "WHERE segment = ? ORDER BY stream_id, sequence"
    )
    with contextlib.closing(sqlite3.connect(database)) as connection:
        data = b"".join(row[0] for row in connection.execute(query, [segment]))
    return np.frombuffer(data, "<f4").reshape(-1, 3)[:, 0].astype(int).tolist()


def assert_exactly_once(database: Path, recorded: Recording) -> None:
    """Every sample that was sent is stored, once and in order."""
    for sensor in (recorded.pelvis, recorded.upper_back):
        assert numbers(database, sensor.segment) == sensor.gyro[:, 0].astype(int).tolist()


class Told(list[str]):
    """Sentences for people, in order; `says` waits for one with certain words."""

    def __init__(self) -> None:
        super().__init__()
        self._more = asyncio.Event()

    def __call__(self, sentence: str) -> None:
        self.append(sentence)
        self._more.set()

    async def says(self, words: str) -> None:
        """Wait until a sentence with these words is said."""
        async with asyncio.timeout(WITHIN_S):
            while not any(words in sentence for sentence in self):
                self._more.clear()
                await self._more.wait()
