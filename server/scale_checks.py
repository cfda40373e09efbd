"""The scale check of a sensor: turned whole turns flat on a table, about each of three faces.

A set is kept as it is made; once there is one about each axis, the factors of the sensor are found,
kept, and hold for the stream from then on and for every later stream of the same sensor.
"""

from __future__ import annotations

import asyncio
import math
from dataclasses import dataclass

from analysis.errors import AnalysisError
from analysis.samples import Segment
from analysis.scale_calibration import KnownTurns, ScaleFactors, main_axis, scale_factors
from sensors import wire
from server.errors import ConflictError
from server.models import SensorStream, StoredScaleSet
from server.service import Service
from server.sessions import sending_now
from server.store.scales import ScaleInForce, identity

AXES = "xyz"


@dataclass(frozen=True, slots=True)
class Found:
    """What a set of turns showed. sets: the axes that there are sets about; factors: once all."""

    axis: str
    sets: list[str]
    factors: ScaleFactors | None

    @property
    def text(self) -> str:
        """What came of it, and what to do next."""
        if self.factors is not None:
            worst = 100.0 * float(max(self.factors.u))
            return f"The scale of this sensor is known to {worst:.2g} % and put right from now on."
        left = " and ".join(axis for axis in AXES if axis not in self.sets)
        return (
            f"The turns about {self.axis} are kept. Next, about {left}: lay the sensor on another "
            "face, let it lie still, turn it, and let it lie still again."
        )


@dataclass(frozen=True, slots=True)
class Standing:
    """How far the scale check of a worn sensor has come. sets: axes with sets in this session.

    in_force: factors that its rates are multiplied by now; None: not known.
    """

    segment: wire.SegmentName
    sets: list[str]
    in_force: ScaleInForce | None

    @property
    def text(self) -> str:
        """What is done and what is missing."""
        if self.in_force is not None and self.in_force.u is not None:
            known = f"The scale is known to {100.0 * max(self.in_force.u):.2g} % and put right"
            if len(self.sets) == len(AXES):
                return f"{known}. Nothing is missing."
            return f"{known}, from an earlier check. Do it again only if you doubt it."
        missing = [axis for axis in AXES if axis not in self.sets]
        had = f"Done: {_listed(self.sets)}. " if self.sets else ""
        return f"{had}Still to do: the turns about {_listed(missing)}."


def _listed(axes: list[str]) -> str:
    """x; x and y; x, y and z."""
    *others, last = axes
    return f"{', '.join(others)} and {last}" if others else last


def standing(service: Service, session_id: str) -> list[Standing]:
    """How far the scale check of each sensor of a session has come. Raises NotFoundError."""
    store = service.store
    store.sessions.get(session_id)
    worn = {stream.segment: stream for stream in store.sessions.streams(session_id)}
    in_force = {one.segment: one for one in store.scales.of_session(session_id)}
    return [
        Standing(
            segment,
            sorted(store.scales.sets(session_id, identity(worn[segment]))),
            in_force[segment] if segment in in_force and in_force[segment].factors else None,
        )
        for segment in wire.SEGMENTS
        if segment in worn
    ]


async def make_scale_check(
    service: Service, session_id: str, segment: wire.SegmentName, *, turns: int, seconds: float
) -> Found:
    """Take the last seconds that a sensor sent as so many whole turns about one of its axes.

    Raises NotFoundError; ConflictError where the sensor sends nothing or these are no such turns:
    nothing is then kept. A cancel may leave the set kept.
    """
    await asyncio.to_thread(service.store.sessions.get, session_id)
    stream = sending_now(service, session_id, (segment,))[segment]
    end_s = stream.last_seen_s or 0.0
    turned = StoredScaleSet(
        stream_id=stream.stream_id, start_s=end_s - seconds, end_s=end_s, turns=turns
    )
    found = await asyncio.to_thread(_take, service, session_id, turned)
    service.live.committed(session_id)
    return found


def _take(service: Service, session_id: str, turned: StoredScaleSet) -> Found:
    """Judge a set, and find the factors where it completes them; then keep both."""
    store = service.store
    sensor = _sensor(store.sessions.streams(session_id), turned.stream_id)
    segment = sensor.segment
    try:
        turned.axis = AXES[main_axis(_known(service, session_id, turned, segment))]
        sets = store.scales.sets(session_id, identity(sensor)) | {turned.axis: (turned, segment)}
        factors = None
        if len(sets) == len(AXES):
            factors = scale_factors(
                [_known(service, session_id, one, worn) for one, worn in sets.values()]
            )
    except AnalysisError as error:
        raise ConflictError(str(error)) from error
    found = Found(turned.axis, sorted(sets), factors)
    store.scales.add(turned, identity(sensor), factors, service.clock.now())
    return found


def _known(service: Service, session_id: str, turned: StoredScaleSet, segment: str) -> KnownTurns:
    # up to its last sample too
    end_s = math.nextafter(turned.end_s, math.inf)
    samples = service.store.raw.samples(
        session_id, Segment(segment), turned.start_s, end_s, stream_id=turned.stream_id
    )
    return KnownTurns(samples, turned.turns)


def _sensor(streams: list[SensorStream], stream_id: str) -> SensorStream:
    """The stream. Raises ConflictError where its sensor cannot be told from the other one."""
    (own,) = (one for one in streams if one.id == stream_id)
    if any(identity(one) == identity(own) and one.segment != own.segment for one in streams):
        raise ConflictError(
            f"Both sensors of this session are called {own.sensor}, so nobody could tell later "
            "whose scale this is. Give one of them another name, and begin a new session."
        )
    return own
