"""Raw batches in the store: in exactly once, out as sample tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session

from analysis.blocks import joined
from analysis.samples import Array, RateSample, SampleTable, Segment
from sensors import wire
from server.models import RawBatch, SensorStream
from server.store.database import Database
from server.store.troubles import note_gaps

READ_CHUNK = 256


@dataclass(frozen=True, slots=True)
class IncomingBatch:
    """A checked batch on its way into the store. start_s, end_s: first and last sample."""

    session_id: str
    batch: wire.SampleBatch
    start_s: float
    end_s: float
    samples: int


@dataclass(frozen=True, slots=True)
class ReadBatch:
    """A stored batch on its way to the analysis; `id` grows in the order of commits."""

    id: int
    stream_id: str
    segment: Segment
    samples: SampleTable


class RawStore:
    """Appends batches and reads them back."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def append(self, batches: Sequence[IncomingBatch]) -> list[int]:
        """Commit what is next in its stream, all in one transaction.

        Gives for each batch the sequence its stream wants next: above the batch's own, the batch
        is on the disk (now or since earlier); otherwise batches before it are missing, and it was
        not taken. Streams must have been declared.
        """
        with self._database.write() as session:
            wanted = _next_sequences(session, {item.batch.stream_id for item in batches})
            taken: list[IncomingBatch] = []
            outcomes: list[int] = []
            for item in batches:
                stream_id = item.batch.stream_id
                if item.batch.sequence == wanted[stream_id]:
                    taken.append(item)
                    wanted[stream_id] += 1
                outcomes.append(wanted[stream_id])
            insert_batches(session, taken)
        return outcomes

    def next_sequences(self, stream_ids: Sequence[str]) -> dict[str, int]:
        """For each stream the sequence number it wants next."""
        with self._database.read() as session:
            return _next_sequences(session, set(stream_ids))

    def after(self, session_id: str, batch_id: int, limit: int) -> list[ReadBatch]:
        """At most `limit` batches of a session that were committed after `batch_id`."""
        query = (
            select(RawBatch, SensorStream.segment, SensorStream.rate_sample)
            .join(SensorStream, SensorStream.id == RawBatch.stream_id)
            .where(RawBatch.session_id == session_id, RawBatch.id > batch_id)
            .order_by(RawBatch.id)
            .limit(limit)
        )
        with self._database.read() as session:
            return [
                ReadBatch(row.id, row.stream_id, Segment(segment), _table(row, kind))
                for row, segment, kind in session.execute(query)
            ]

    def chunks(self, session_id: str) -> Iterator[list[ReadBatch]]:
        """Every batch of a session in the order of commits, a chunk in memory at a time."""
        last = 0
        while chunk := self.after(session_id, last, READ_CHUNK):
            yield chunk
            last = chunk[-1].id

    def samples(
        self,
        session_id: str,
        segment: Segment,
        start_s: float = float("-inf"),
        end_s: float = float("inf"),
        *,
        stream_id: str | None = None,
    ) -> SampleTable:
        """Samples of a segment, start_s <= time < end_s, as one table on session time.

        stream_id: of this stream alone, that is of one start of the sensor.
        Batches in the order of commits; a sample whose time is not after all before it is left
        out, as it is live. The clock is as uncertain as in the worst batch that has a part in it;
        what a gyro sample is goes by the last sample, as in analysis.blocks.joined.
        """
        columns = (RawBatch.time_s, RawBatch.gyro, RawBatch.accel, RawBatch.time_u_s)
        query = (
            select(*columns, RawBatch.samples, SensorStream.rate_sample)
            .join(SensorStream, SensorStream.id == RawBatch.stream_id)
            .where(
                RawBatch.session_id == session_id,
                SensorStream.segment == segment.value,
                RawBatch.end_s >= start_s,
                RawBatch.start_s < end_s,
            )
            .order_by(RawBatch.id)
        )
        if stream_id is not None:
            query = query.where(RawBatch.stream_id == stream_id)
        with self._database.read() as session:
            rows = session.execute(query).all()
        time_s = np.frombuffer(b"".join(row.time_s for row in rows), "<f8").astype(np.float64)
        gyro = _vectors(b"".join(row.gyro for row in rows))
        accel = _vectors(b"".join(row.accel for row in rows))
        row_of = np.repeat(np.arange(len(rows)), [row.samples for row in rows])
        before = np.concatenate(([-np.inf], np.maximum.accumulate(time_s)))[:-1]
        kept = (time_s > before) & (time_s >= start_s) & (time_s < end_s)
        parts = [rows[number] for number in np.unique(row_of[kept])]
        u_s = max((part.time_u_s for part in parts), default=0.0)
        kind = RateSample.of(parts[-1].rate_sample if parts else None)
        return SampleTable(time_s[kept], gyro[kept], accel[kept], u_s, kind)


class Timelines:
    """Keeps the time of each segment increasing over batches and sensor restarts."""

    def __init__(self) -> None:
        self._lines = {segment: _Timeline() for segment in Segment}

    @property
    def both_seen_to_s(self) -> float:
        """Session time up to which both segments have come."""
        return min(line.end_s for line in self._lines.values())

    def joined(self, batches: Sequence[ReadBatch]) -> Iterator[tuple[Segment, SampleTable]]:
        """Batches as few tables: those of a segment with one clock uncertainty and one kind of
        gyro sample as one."""
        for segment, line in self._lines.items():
            tables = [line.goes_on(one.samples) for one in batches if one.segment is segment]
            filled = [table for table in tables if len(table)]
            for _, run in groupby(filled, key=lambda table: (table.time_u_s, table.rate_sample)):
                yield segment, joined(list(run))


class _Timeline:
    def __init__(self) -> None:
        self.end_s = float("-inf")

    def goes_on(self, table: SampleTable) -> SampleTable:
        """The samples that are later than all before them."""
        if len(table) and table.time_s[0] <= self.end_s:
            first = int(np.searchsorted(table.time_s, self.end_s, side="right"))
            table = table.rows(first, len(table))
        if len(table):
            self.end_s = float(table.time_s[-1])
        return table


def incoming(session_id: str, batch: wire.SampleBatch) -> IncomingBatch:
    """Check a batch. Raises sensors.wire.WireError where its arrays do not hold together."""
    time_s, _, _ = wire.batch_arrays(batch)
    return IncomingBatch(session_id, batch, float(time_s[0]), float(time_s[-1]), len(time_s))


def insert_batches(session: Session, batches: Sequence[IncomingBatch]) -> None:
    """Put batches into a transaction as they are; each must be next in its stream."""
    if batches:
        note_gaps(session, [(one.session_id, one.batch, one.start_s, one.end_s) for one in batches])
        session.execute(insert(RawBatch), [_row(item) for item in batches])


def _next_sequences(session: Session, stream_ids: set[str]) -> dict[str, int]:
    query = (
        select(RawBatch.stream_id, func.max(RawBatch.sequence).label("last"))
        .where(RawBatch.stream_id.in_(stream_ids))
        .group_by(RawBatch.stream_id)
    )
    last = {row.stream_id: row.last for row in session.execute(query)}
    return {stream_id: last.get(stream_id, -1) + 1 for stream_id in stream_ids}


def _row(item: IncomingBatch) -> dict[str, Any]:
    batch = item.batch
    return {
        "session_id": item.session_id,
        "stream_id": batch.stream_id,
        "sequence": batch.sequence,
        "start_s": item.start_s,
        "end_s": item.end_s,
        "samples": item.samples,
        "first_tick": batch.first_tick,
        "ticks_per_sample": batch.ticks_per_sample,
        "received_s": batch.received_s,
        "time_u_s": batch.time_u_s,
        "lost_before": batch.lost_before,
        "time_s": batch.time_s,
        "gyro": batch.gyro,
        "accel": batch.accel,
    }


def _table(row: RawBatch, kind: str | None) -> SampleTable:
    time_s = np.frombuffer(row.time_s, "<f8").astype(np.float64)
    gyro, accel = _vectors(row.gyro), _vectors(row.accel)
    return SampleTable(time_s, gyro, accel, row.time_u_s, RateSample.of(kind))


def _vectors(data: bytes) -> Array:
    return np.frombuffer(data, "<f4").astype(np.float64).reshape(-1, 3)
