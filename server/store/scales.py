"""Scale checks in the store: sets of whole turns, factors, and the streams they hold for.

Factors belong to a sensor. Which of them hold for a stream, and from when on, is written down with
the stream: when it is declared, and when a check is made in it. So a session that is analysed again
gives the same numbers, whatever checks are made later.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from analysis.samples import Segment
from analysis.scale_calibration import ScaleFactors
from analysis.scale_in_force import SegmentScale
from server.models import RawBatch, SensorStream, StoredScale, StoredScaleSet, StreamScale
from server.store.database import Database

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class ScaleInForce:
    """Factors of the sensor on a segment from a session time on; None: they are not known."""

    segment: str
    from_s: float
    factors: Vector | None = None
    u: Vector | None = None

    def for_analysis(self) -> SegmentScale:
        """The same, as the analysis takes it."""
        factors = None
        if self.factors is not None and self.u is not None:
            factors = ScaleFactors(np.array(self.factors), np.array(self.u))
        return SegmentScale(Segment(self.segment), factors, self.from_s)


class ScaleStore:
    """Keeps scale checks and says which factors hold."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def sets(self, session_id: str, sensor: str) -> dict[str, tuple[StoredScaleSet, str]]:
        """The last set about each axis that a sensor has in a session, with its segment."""
        query = (
            select(StoredScaleSet, SensorStream)
            .join(SensorStream, SensorStream.id == StoredScaleSet.stream_id)
            .where(SensorStream.session_id == session_id)
            .order_by(StoredScaleSet.id)
        )
        with self._database.read() as session:
            return {
                row.axis: (row, stream.segment)
                for row, stream in session.execute(query)
                if identity(stream) == sensor
            }

    def add(
        self, turned: StoredScaleSet, sensor: str, found: ScaleFactors | None, found_at: datetime
    ) -> None:
        """Keep a set and, where it completes them, the factors: in force from its end on."""
        with self._database.write() as session:
            session.add(turned)
            if found is None:
                return
            scale = StoredScale(
                sensor=sensor,
                factors=found.factors.tolist(),
                u=found.u.tolist(),
                found_at=found_at,
            )
            session.add(scale)
            session.flush()
            session.add(
                StreamScale(stream_id=turned.stream_id, scale_id=scale.id, from_s=turned.end_s)
            )

    def of_session(self, session_id: str) -> tuple[ScaleInForce, ...]:
        """What holds for the segments of a session, by what is stored of it now.

        A further stream of a segment brings its own factors, or none, from its first sample on.
        """
        with self._database.read() as session:
            links = _links(session, session_id)
            if not links:
                return ()
            found: dict[str, list[ScaleInForce]] = {}
            for stream_id, segment, first_s in _streams(session, session_id):
                before = found.setdefault(segment, [])
                from_s = first_s if before else float("-inf")
                of_stream = [ScaleInForce(segment, from_s)]
                for link, scale in links.get(stream_id, ()):
                    since_s = from_s if link.from_s is None else max(from_s, link.from_s)
                    one = ScaleInForce(segment, since_s, _vector(scale.factors), _vector(scale.u))
                    of_stream = [*(of_stream if since_s > from_s else ()), one]
                before += of_stream
        return tuple(one for of_segment in found.values() for one in _changes(of_segment))


def _changes(ordered: Sequence[ScaleInForce]) -> Iterator[ScaleInForce]:
    """Without those that say what the one before says, as of a sensor that was away for a while."""
    last: tuple[Vector | None, Vector | None] = (None, None)
    for one in ordered:
        if (one.factors, one.u) != last:
            last = (one.factors, one.u)
            yield one


def _vector(values: Sequence[float]) -> Vector:
    x, y, z = values
    return x, y, z


def identity(stream: SensorStream) -> str:
    """What tells a sensor from others: its address, or its name where it has none."""
    return stream.address or stream.sensor


def link_known_scale(session: Session, stream: SensorStream) -> None:
    """The newest factors of a sensor hold for a new stream of it, from its first sample on."""
    query = (
        select(StoredScale.id)
        .where(StoredScale.sensor == identity(stream))
        .order_by(StoredScale.id.desc())
    )
    scale_id = session.scalars(query.limit(1)).first()
    if scale_id is not None:
        session.flush()
        session.add(StreamScale(stream_id=stream.id, scale_id=scale_id, from_s=None))


def _links(session: Session, session_id: str) -> dict[str, list[tuple[StreamScale, StoredScale]]]:
    query = (
        select(StreamScale, StoredScale)
        .join(StoredScale, StoredScale.id == StreamScale.scale_id)
        .join(SensorStream, SensorStream.id == StreamScale.stream_id)
        .where(SensorStream.session_id == session_id)
        .order_by(StreamScale.id)
    )
    found: dict[str, list[tuple[StreamScale, StoredScale]]] = {}
    for link, scale in session.execute(query):
        found.setdefault(link.stream_id, []).append((link, scale))
    return found


def _streams(session: Session, session_id: str) -> Sequence[tuple[str, str, float]]:
    """Id, segment and first sample's time of every stream that has samples, as they came."""
    query = (
        select(SensorStream.id, SensorStream.segment, RawBatch.start_s)
        .join(RawBatch, RawBatch.stream_id == SensorStream.id)
        .where(SensorStream.session_id == session_id, RawBatch.sequence == 0)
        .order_by(RawBatch.id)
    )
    return [(row[0], row[1], row[2]) for row in session.execute(query)]
