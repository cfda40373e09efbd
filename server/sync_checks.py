"""The sync check of a session: both sensors held together and twisted, their clocks compared.

A good one is kept, marked, and sent to the collector, whose clock of the second sensor takes the
offset from then on; samples that are stored already stay as they are.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from dataclasses import dataclass
from typing import Final

from starlette.websockets import WebSocketDisconnect

from analysis.samples import SampleTable, Segment
from sensors import wire
from sensors.stamping import SLEW
from sensors.sync_check import SyncCheck, SyncVerdict, sync_check
from server.errors import ConflictError
from server.models import StoredSyncCheck
from server.service import Service
from server.sessions import add_mark, sending_now
from server.views import StreamView

SETTLING_S: Final = 5.0
"""Times go to corrected ones at most at SLEW, and below 1 ms with a time constant of 1 s."""
NOT_TAKEN: Final = (
    "Good, but these sensors' times are taken as their source gives them: the offset is kept with "
    "the session and not applied."
)
NOT_YET: Final = (
    "Good: the offset is kept, and applied as soon as the collector of the sensors is on the line."
)


@dataclass(frozen=True, slots=True)
class Found:
    """What a check found. applied: whether the collector's clock takes it from now on."""

    check: SyncCheck
    applied: bool | None

    @property
    def text(self) -> str:
        """The verdict in words, with what to do."""
        if not self.check.good or self.applied:
            return self.check.text
        return NOT_YET if self.applied is None else NOT_TAKEN


async def make_sync_check(service: Service, session_id: str, seconds: float) -> Found:
    """Compare the last seconds that both sensors sent; keep, mark and apply a good check.

    Raises NotFoundError; ConflictError while a sensor sends nothing, or while the times still go
    to what the check before has found. A cancel leaves a kept check to be applied later.
    """
    await asyncio.to_thread(service.store.sessions.get, session_id)
    streams = sending_now(service, session_id)
    pelvis, upper_back = streams["pelvis"], streams["upper_back"]
    end_s = min(one.last_seen_s or -math.inf for one in (pelvis, upper_back))
    start_s = end_s - seconds
    await asyncio.to_thread(_refuse_unsettled, service, upper_back.stream_id, start_s)
    pair = [
        await asyncio.to_thread(_samples, service, session_id, one, start_s)
        for one in (pelvis, upper_back)
    ]
    check = await asyncio.to_thread(_compare, *pair)
    if not check.good:
        return Found(check, applied=False)
    row = StoredSyncCheck(
        session_id=session_id,
        pelvis_stream_id=pelvis.stream_id,
        upper_back_stream_id=upper_back.stream_id,
        start_s=start_s,
        end_s=end_s,
        offset_s=check.offset_s,
        u_s=check.u_s,
        correlation=check.correlation,
    )
    row.id = await asyncio.to_thread(service.store.sync_checks.add, row)
    await add_mark(service, session_id, wire.Mark(kind="sync", start_s=start_s, end_s=end_s))
    return Found(check, await _apply(service, row))


def correction_of(row: StoredSyncCheck) -> wire.ClockCorrection:
    """What the collector is told of a check."""
    return wire.ClockCorrection(
        check=row.id,
        stream_id=row.upper_back_stream_id,
        offset_s=row.offset_s,
        u_s=row.u_s,
        start_s=row.start_s,
        end_s=row.end_s,
    )


async def _apply(service: Service, row: StoredSyncCheck) -> bool | None:
    """Whether the collector took it; None: it is not on the line, and is told when it is."""
    for collector in service.collectors_of(row.session_id):
        if collector.sends(row.upper_back_stream_id):
            with contextlib.suppress(OSError, RuntimeError, WebSocketDisconnect):
                return await collector.correct(correction_of(row))
    return None


def _samples(service: Service, session_id: str, stream: StreamView, start_s: float) -> SampleTable:
    segment = Segment(stream.segment)
    return service.store.raw.samples(session_id, segment, start_s, stream_id=stream.stream_id)


def _compare(pelvis: SampleTable, upper_back: SampleTable) -> SyncCheck:
    return sync_check(pelvis.time_s, pelvis.gyro, upper_back.time_s, upper_back.gyro)


def _refuse_unsettled(service: Service, stream_id: str, start_s: float) -> None:
    """Times on their way to what the check before found would be corrected twice."""
    for before in service.store.sync_checks.correcting(stream_id):
        if before.applied is False:
            continue
        from_s = before.end_s if before.applied_from_s is None else before.applied_from_s
        settled_s = from_s + abs(before.offset_s) / SLEW + SETTLING_S
        if start_s < settled_s:
            raise ConflictError(
                "The clocks are still being brought together after the last sync check: wait "
                f"{math.ceil(settled_s - start_s)} s, then hold both together and twist again."
            )


def known_ms(check: SyncCheck) -> tuple[float | None, float | None]:
    """Offset and its standard uncertainty, ms; None where nothing sensible came out."""
    if check.verdict not in (SyncVerdict.GOOD, SyncVerdict.NOT_SHARP):
        return None, None
    return check.offset_s * 1e3, check.u_s * 1e3
