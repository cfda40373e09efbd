"""A stream of samples brought down to means over fixed stretches of session time.

The stretches lie on one absolute grid, so a mean depends on the samples alone and never on how
they were cut into pushes: the same samples give the same bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.samples import Array, SampleTable

BLOCK_S = 1.0 / 64.0
"""A power of two, so that grid times are exact; one to six samples at 100 to 400 Hz."""

LONGEST_BRIDGE = 32
"""Blocks without samples, 0.5 s, over which a movement may be guessed from both ends."""

Index = npt.NDArray[np.int64]
_NEVER = 2**60


@dataclass(frozen=True, slots=True)
class Blocks:
    """Means over the blocks that hold samples. index (m,) block number, block k from k BLOCK_S to
    (k + 1) BLOCK_S; gyro (m, 3) rad/s in sensor axes."""

    index: Index
    gyro: Array

    @classmethod
    def none(cls) -> Blocks:
        """No block."""
        return cls(np.zeros(0, dtype=np.int64), np.zeros((0, 3)))

    def between(self, first: int, last: int) -> Blocks:
        """Blocks first <= index < last."""
        low, high = self.index.searchsorted((first, last)).tolist()
        return Blocks(self.index[low:high], self.gyro[low:high])

    def followed_by(self, later: Blocks) -> Blocks:
        """These and later ones."""
        return Blocks(
            np.concatenate((self.index, later.index)), np.concatenate((self.gyro, later.gyro))
        )

    def filled(self, first: int, last: int) -> Array:
        """Gyro of every block first <= index < last, (last - first, 3).

        Holes of up to LONGEST_BRIDGE blocks are bridged by lines; zeros in longer ones and where
        no block follows or precedes.
        """
        part = self.between(first, last)
        if part.index.size == last - first:
            return part.gyro
        reach = self.between(first - LONGEST_BRIDGE - 1, last + LONGEST_BRIDGE + 1)
        every = np.arange(first, last)
        place = np.searchsorted(reach.index, every)
        known = np.append(reach.index, _NEVER)
        before = np.where(place > 0, known[place - 1], -_NEVER)
        width = known[place] - np.where(known[place] == every, every, before)
        if not reach.index.size:
            return np.zeros((last - first, 3))
        lines = [np.interp(every, reach.index, column) for column in reach.gyro.T]
        return np.where(width[:, None] <= LONGEST_BRIDGE + 1, np.stack(lines, axis=1), 0.0)


def block_of(time_s: float) -> int:
    """Number of the block that a time lies in."""
    return int(np.floor(time_s / BLOCK_S))


def block_means(samples: SampleTable) -> Blocks:
    """Means of a table that ends at the end of a block (or of the stream)."""
    if not len(samples):
        return Blocks.none()
    number = np.floor(samples.time_s / BLOCK_S).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(number[1:] > number[:-1]) + 1))
    counts = np.diff(starts, append=number.size)
    block = np.repeat(np.arange(starts.size), counts)
    # adds sample after sample, so the last bit does not depend on the place in memory
    columns = [np.bincount(block, weights=column) / counts for column in samples.gyro.T]
    return Blocks(number[starts], np.stack(columns, axis=1))


class SampleStream:
    """One sensor's recent samples and their blocks, as they come in.

    Samples that are not later than the last one of the stream are left out. Bounded: `forget`
    lets go of what is no longer needed.
    """

    def __init__(self) -> None:
        self._tables: list[SampleTable] = []
        self._open: list[SampleTable] = []
        self._last_s = -np.inf
        self.blocks = Blocks.none()
        self._settled = -_NEVER
        self.front = -_NEVER
        """All blocks below this number are known; the one before it holds samples."""

    @property
    def last_s(self) -> float:
        """Time of the last sample; -inf before the first."""
        return self._last_s

    def push(self, samples: SampleTable) -> None:
        """Take more samples in."""
        if not len(samples):
            return
        if samples.time_s[0] <= self._last_s:
            keep = int(np.searchsorted(samples.time_s, self._last_s, side="right"))
            samples = samples.rows(keep, len(samples))
            if not len(samples):
                return
        self._tables.append(samples)
        self._last_s = float(samples.time_s[-1])
        current = block_of(self._last_s)
        cut = int(np.searchsorted(samples.time_s, current * BLOCK_S))
        if current > self._settled:
            self._open.append(samples.rows(0, cut))
            self._settle(current)
            self._open = []
        self._open.append(samples.rows(cut, len(samples)))

    def finish(self) -> None:
        """No more samples come: the last block is complete."""
        self._settle(_NEVER)
        self.front = _NEVER
        self._open = []

    def forget(self, before_s: float) -> None:
        """Let go of samples and blocks before a time."""
        while self._tables and self._tables[0].time_s[-1] < before_s:
            self._tables.pop(0)
        block = block_of(before_s)
        if self.blocks.index.size and self.blocks.index[0] < block - 64:
            self.blocks = self.blocks.between(block, _NEVER)

    def held_s(self) -> float:
        """Length of the stretch of samples that are held, s."""
        return self._last_s - float(self._tables[0].time_s[0]) if self._tables else 0.0

    def between(self, start_s: float, end_s: float) -> SampleTable:
        """Samples with start_s <= time < end_s that are still held, as one table."""
        tables = [
            table
            for table in self._tables
            if table.time_s[-1] >= start_s and table.time_s[0] < end_s
        ]
        # those between the first and the last lie within as a whole
        for row in {0, len(tables) - 1} if tables else ():
            tables[row] = tables[row].between(start_s, end_s)
        return joined(tables)

    def _settle(self, up_to: int) -> None:
        means = block_means(joined(self._open))
        self.blocks = self.blocks.followed_by(means) if means.index.size else self.blocks
        self._settled = up_to
        if self.blocks.index.size:
            self.front = int(self.blocks.index[-1]) + 1


def joined(tables: list[SampleTable]) -> SampleTable:
    """Tables one after another as one.

    Where sensors changed within, what a gyro sample is goes by the last table: the swing of a
    window is at its end, and a hole as long as a change of sensors is not carried over.
    """
    tables = [table for table in tables if len(table)]
    if not tables:
        return SampleTable(np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)))
    if len(tables) == 1:
        return tables[0]
    return tables[-1].after(tables[:-1])
