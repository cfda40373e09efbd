"""How each sensor is doing, from what arrives and from what does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensors import wire
from sensors.swap_watch import SwapWatch
from server.views import StreamView

SILENT_AFTER_S = 1.5
"""A stream that was to send and has not for so long is called silent."""
POURED_FROM = 1.5
"""Session time goes so many times as fast as the clock: a recording is poured in, nobody waits."""


@dataclass(slots=True)
class _Watched:
    stream: wire.Stream
    heard_at: float
    report: wire.StreamReport | None = None
    last_seen_s: float | None = None
    lost: int = 0
    sync_offset_s: float | None = None
    reported_at: float = float("-inf")
    behind_s: float | None = None
    poured: bool = False


class StatusBoard:
    """Streams of one session. Times are of the service's monotonic clock, s."""

    def __init__(self) -> None:
        self._watched: dict[str, _Watched] = {}
        self._swap = SwapWatch()

    def expect(self, streams: tuple[wire.Stream, ...], now: float) -> None:
        """These are to send from now on; each takes the place of an older one of its segment."""
        for stream in streams:
            known = self._watched.get(stream.stream_id)
            self._watched = {
                stream_id: watched
                for stream_id, watched in self._watched.items()
                if watched.stream.segment != stream.segment
            }
            if known is not None:
                known.heard_at = now
            self._watched[stream.stream_id] = known or _Watched(stream, heard_at=now)

    def was_away(self, seconds: float) -> None:
        """The service itself stood still for so long: nobody was silent meanwhile."""
        for watched in self._watched.values():
            watched.heard_at += seconds
            watched.reported_at += seconds

    def arrived(self, batch: wire.SampleBatch, end_s: float, now: float) -> bool:
        """A batch of a stream came. True: the sensors now seem to be worn the wrong way round."""
        watched = self._watched.get(batch.stream_id)
        if watched is None:
            return False
        watched.heard_at = now
        watched.lost += batch.lost_before
        newer = watched.last_seen_s is None or end_s > watched.last_seen_s
        watched.last_seen_s = end_s
        gyro = np.frombuffer(batch.gyro, "<f4").reshape(-1, 3)
        return newer and self._swap.push(watched.stream.segment, end_s, gyro.astype(np.float64))

    def reported(self, report: wire.StreamReport, now: float) -> bool:
        """The collector said how a stream is doing. True: its state is another than before."""
        watched = self._watched.get(report.stream_id)
        if watched is None:
            return False
        was = watched.report.state if watched.report else "streaming"
        _note_lateness(watched, report, now)
        watched.report = report
        return report.state != was

    def stored_behind_s(self) -> float:
        """By how much the store is behind the sensors, s of session time; 0 for poured ones.

        Reports go before the samples that wait in the collector, so they show it.
        """
        return max((one.behind_s or 0.0 for one in self._watched.values()), default=0.0)

    def live_to_s(self) -> float | None:
        """Session time up to which both sensors have come; None unless both send in real time."""
        seen = [
            one.last_seen_s
            for one in self._watched.values()
            if one.behind_s is not None and not one.poured and one.last_seen_s is not None
        ]
        return min(seen) if len(seen) == len(wire.SEGMENTS) else None

    def corrected(self, offsets_s: dict[str, float]) -> None:
        """By how much the times of streams are corrected in all."""
        for stream_id, offset_s in offsets_s.items():
            if stream_id in self._watched:
                self._watched[stream_id].sync_offset_s = offset_s

    def last_seen_s(self, stream_id: str) -> float | None:
        """Session time of a stream's last sample."""
        watched = self._watched.get(stream_id)
        return None if watched is None else watched.last_seen_s

    def streams(self, now: float) -> list[StreamView]:
        """Every expected stream, pelvis first."""
        ordered = sorted(self._watched.values(), key=lambda watched: watched.stream.segment)
        return [_view(watched, now, swapped=self._swap.swapped) for watched in ordered]


def _note_lateness(watched: _Watched, report: wire.StreamReport, now: float) -> None:
    """How far the samples that came are behind the moment that the collector speaks of."""
    before, passed_s = watched.report, now - watched.reported_at
    if before is not None and passed_s > 0.5:
        watched.poured = report.at_s - before.at_s > POURED_FROM * passed_s
    watched.reported_at = now
    watched.behind_s = None
    if report.state in ("streaming", "slow") and watched.last_seen_s is not None:
        behind_s = 0.0 if watched.poured else report.at_s - watched.last_seen_s
        watched.behind_s = max(0.0, behind_s)


def _view(watched: _Watched, now: float, *, swapped: bool) -> StreamView:
    stream, report = watched.stream, watched.report
    state: wire.StreamState = report.state if report else "streaming"
    # a collector that says its sensor streams is heard, though the samples wait in it
    said_at = watched.reported_at if state in ("streaming", "slow") else watched.heard_at
    if now - max(watched.heard_at, said_at) > SILENT_AFTER_S and state != "lost":
        state = "silent"
    clock_u_s = report.clock_u_s if report else None
    offset_s = watched.sync_offset_s
    return StreamView(
        stream_id=stream.stream_id,
        segment=stream.segment,
        sensor=stream.sensor,
        state=state,
        rate_hz=report.rate_hz if report else stream.rate_hz,
        lost=max(watched.lost, report.lost if report else 0),
        last_seen_s=watched.last_seen_s,
        battery_percent=report.battery_percent if report else None,
        clock_u_ms=None if clock_u_s is None else clock_u_s * 1e3,
        swapped=swapped,
        sync_offset_ms=None if offset_s is None else offset_s * 1e3,
    )
