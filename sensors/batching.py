"""Samples of one stream cut into batches for the wire: at most 250 ms, numbered without holes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from sensors.source import Array, SamplePacket, Ticks
from sensors.wire import MAX_BATCH_SAMPLES, SampleBatch, Stream, pack_arrays

MAX_BATCH_SPAN_S: Final = 0.25
LIVE_BATCH_SPAN_S: Final = 0.1
"""Ten batches a second: what a live view needs, and a commit a batch costs the store 0.2 ms."""


@dataclass(frozen=True, slots=True)
class _Run:
    """Samples with nothing missing between them; `lost_before` missing in front of them."""

    time_s: Array
    ticks: Ticks
    gyro: Array
    accel: Array
    lost_before: int = 0

    def __len__(self) -> int:
        return len(self.time_s)

    def part(self, rows: slice) -> _Run:
        lost = self.lost_before if rows.start in (None, 0) else 0
        return _Run(self.time_s[rows], self.ticks[rows], self.gyro[rows], self.accel[rows], lost)

    def joined(self, other: _Run) -> _Run:
        return _Run(
            np.concatenate((self.time_s, other.time_s)),
            np.concatenate((self.ticks, other.ticks)),
            np.concatenate((self.gyro, other.gyro)),
            np.concatenate((self.accel, other.accel)),
            self.lost_before,
        )


class Batcher:
    """Cuts one stream into batches.

    A batch ends when it spans `span_s`, and before a gap. Samples that the wire cannot carry (a
    value that is not a finite float32, a time that is not after the one before) are left out,
    counted in `rejected`, and appear as a gap.
    """

    def __init__(self, stream: Stream, *, span_s: float = LIVE_BATCH_SPAN_S) -> None:
        if not 0.0 < span_s <= MAX_BATCH_SPAN_S:
            raise ValueError(f"a batch spans up to {MAX_BATCH_SPAN_S} s, received {span_s}")
        self.stream = stream
        self.rejected = 0
        self._span_s = span_s
        self._period_s = 1.0 / stream.rate_hz
        self._sequence = 0
        self._last_s = float("-inf")
        self._waiting: _Run | None = None
        self._missing = 0
        self._received_s = 0.0
        self._u_s = 0.0

    def add(self, packet: SamplePacket, time_s: Array, u_s: float = 0.0) -> list[SampleBatch]:
        """Batches that are full now. time_s (n,): session time of the packet's samples."""
        self._missing += packet.lost_before
        batches = []
        for run in self._sound_runs(packet, time_s):
            if run.lost_before or self._waiting is None:
                batches += self.flush()
                self._waiting = run
            else:
                self._waiting = self._waiting.joined(run)
            self._received_s, self._u_s = packet.received_s, u_s
            batches += self._full()
        return batches

    def flush(self) -> list[SampleBatch]:
        """The samples that still wait, as a batch of their own; none where none wait."""
        run, self._waiting = self._waiting, None
        return [] if run is None or not len(run) else [self._batch(run)]

    def _sound_runs(self, packet: SamplePacket, time_s: Array) -> Iterator[_Run]:
        """The packet's samples that can be sent, split where some cannot."""
        with np.errstate(over="ignore"):
            values = np.hstack((packet.gyro, packet.accel)).astype(np.float32)
        sound = np.isfinite(values).all(axis=1) & np.isfinite(time_s)
        before = np.concatenate(([self._last_s], time_s[:-1]))
        with np.errstate(invalid="ignore"):
            newest = np.maximum.accumulate(np.where(np.isfinite(before), before, self._last_s))
            sound &= time_s > newest
        whole = _Run(time_s, packet.ticks, packet.gyro, packet.accel)
        edges = np.flatnonzero(np.diff(sound)) + 1
        for first, end in zip((0, *edges), (*edges, len(time_s)), strict=True):
            if first == end:
                continue
            if not sound[first]:
                self.rejected += int(end - first)
                self._missing += int(end - first)
                continue
            run = whole.part(slice(int(first), int(end)))
            self._last_s = float(run.time_s[-1])
            yield _Run(run.time_s, run.ticks, run.gyro, run.accel, self._missing)
            self._missing = 0

    def _full(self) -> list[SampleBatch]:
        """Cut full batches off the front of what waits."""
        batches = []
        while (run := self._waiting) is not None and len(run):
            end_s = float(run.time_s[0]) + self._span_s
            # Half a period of slack: the next sample would fall outside, so nothing is waited for.
            count = int(np.searchsorted(run.time_s, end_s - 0.5 * self._period_s))
            due = (
                count < len(run) or run.time_s[-1] + self._period_s >= end_s - 0.5 * self._period_s
            )
            count = max(1, min(count, MAX_BATCH_SAMPLES))
            if not due and len(run) < MAX_BATCH_SAMPLES:
                break
            batches.append(self._batch(run.part(slice(0, count))))
            self._waiting = run.part(slice(count, None))
        return batches

    def _batch(self, run: _Run) -> SampleBatch:
        steps = len(run) - 1
        nominal = self._period_s / self.stream.tick_s if self.stream.tick_s else 1.0
        batch = SampleBatch(
            stream_id=self.stream.stream_id,
            sequence=self._sequence,
            first_tick=int(run.ticks[0]),
            ticks_per_sample=float(run.ticks[-1] - run.ticks[0]) / steps if steps else nominal,
            received_s=self._received_s,
            time_u_s=self._u_s,
            lost_before=run.lost_before,
            **pack_arrays(run.time_s, run.gyro, run.accel),
        )
        self._sequence += 1
        return batch
