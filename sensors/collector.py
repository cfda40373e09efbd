"""From a source of samples to the service: batches, the spool, the line, in one run.

    source --packets--> clock --session time--> batcher --batches--> spool --> uplink --> service

Three tasks: one takes events from the source, one keeps the line, one reports once a second. They
belong to `Collector.run` and end with it.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from sensors.backoff import backoff_delays
from sensors.batching import LIVE_BATCH_SPAN_S, Batcher
from sensors.clock import ArrivalClock, SyncCorrection, bring_together
from sensors.disk_spool import DiskSpool
from sensors.errors import SourceError
from sensors.service_link import News, ServiceAddress, ServiceLink
from sensors.source import SamplePacket, Source, SourceEvent, StreamClock, StreamStarted
from sensors.spool import ROOM_BYTES, Spool
from sensors.stream_monitor import StreamMonitor
from sensors.uplink import Uplink
from sensors.wire import (
    WIRE_VERSION,
    ClockCorrection,
    Finish,
    Hello,
    Mark,
    SegmentName,
    StreamReport,
)

MAX_WAITING: Final = 1000
"""Frames that a source which can wait runs ahead of the service: 50 s of two sensors."""
REPORT_EVERY_S: Final = 1.0
ROOM_AGAIN_BYTES: Final = 4 * ROOM_BYTES
"""After a full spool samples are taken again from so much room on, not for every frame let go."""


@dataclass(frozen=True, slots=True)
class Destination:
    """Where a run's samples belong. session: an open one to go on with; golfer: an id."""

    session: str | None = None
    golfer: str | None = None
    title: str | None = None


class Collector:
    """One run of one source.

    After `run` has returned, the service has stored every sample and the session has ended.
    """

    def __init__(
        self,
        source: Source,
        address: ServiceAddress,
        spool: Spool,
        destination: Destination | None = None,
        *,
        news: News | None = None,
        batch_span_s: float = LIVE_BATCH_SPAN_S,
        delays: Callable[[], Iterator[float]] = backoff_delays,
    ) -> None:
        """news: told sentences for people. delays: the waits between tries to connect.

        Raises SpoolError: the spool cannot be written.
        """
        to = destination if destination is not None else Destination()
        hello = Hello(
            version=WIRE_VERSION,
            streams=(),
            session=to.session,
            golfer=to.golfer,
            title=to.title,
            corrects=True,
        )
        self.source = source
        self.uplink = Uplink(spool, hello)
        self.uplink.correct = self._correct
        self._news = news
        self._slow: set[str] = set()
        self._link = ServiceLink(self.uplink, address, news=news, delays=delays)
        self._batch_span_s = batch_span_s
        self._batchers: dict[str, Batcher] = {}
        self._clocks: dict[str, StreamClock] = {}
        self._monitors: dict[str, StreamMonitor] = {}
        self._left_out: dict[SegmentName, int] = {}
        self._full = False
        self._spool_trouble: str | None = None
        self._started = asyncio.Event()

    @property
    def session(self) -> str | None:
        """The session that the service put this run in; None: it was not reached yet."""
        return self.uplink.session

    async def run(self, stop: asyncio.Event | None = None) -> None:
        """Until the source ends or `stop` is set, and the service has everything.

        Raises SourceError, SpoolError, UplinkError; SourceError only once what came before has
        been stored. A cancel, and every error, first puts the samples that were not yet in a batch
        into the spool; a spool on disk then holds all that the service does not have. Samples for
        which a spool that is full has no room are left out and stand in the session as lost.
        """
        done = False
        try:
            async with contextlib.AsyncExitStack() as tasks:
                reporting = asyncio.create_task(self._report(), name="collector: report")
                tasks.push_async_callback(_ended, reporting)
                linking = asyncio.create_task(self._keep_line(), name="collector: line")
                tasks.push_async_callback(_ended, linking)
                trouble = await self._gather(linking, stop)
                if self._started.is_set():
                    self.uplink.append(Finish())
                    self._link.changed.set()
                    await linking
                done = not self._started.is_set() or self.uplink.finished
            if trouble is not None:
                raise trouble
        finally:
            lost, left_out = self.uplink.spool.close(done=done), sum(self._left_out.values())
            if lost:
                self._tell(f"{lost} batches could be neither sent nor kept and are lost")
            if left_out:
                self._tell(f"the spool was full to the end: the last {left_out} samples are lost")

    async def _gather(
        self, linking: asyncio.Task[None], stop: asyncio.Event | None
    ) -> SourceError | None:
        """Take events until the source ends, `stop` is set or the line fails for good."""
        taking = asyncio.create_task(self._take_events(), name="collector: source")
        waits: set[asyncio.Task[object]] = {taking, linking}
        stopping = asyncio.create_task(stop.wait(), name="collector: stop") if stop else None
        if stopping is not None:
            waits.add(stopping)
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (taking, stopping):
                if task is not None:
                    await _ended(task)
            self._flush()
        if linking.done():
            await linking
        error = taking.exception() if not taking.cancelled() else None
        if error is not None and not isinstance(error, SourceError):
            raise error
        if error is None and not taking.cancelled() and not self._started.is_set():
            return SourceError("the source ended before any sensor had started")
        return error

    async def _take_events(self) -> None:
        """Spool what the source gives. A cancel leaves samples in the batchers, none lost."""
        async with contextlib.aclosing(self.source.events()) as events:
            async for event in events:
                self._take(event)
                self._link.changed.set()
                while self.source.can_wait and self.uplink.waiting > MAX_WAITING:
                    self._link.taken.clear()
                    await self._link.taken.wait()

    def _take(self, event: SourceEvent) -> None:
        if isinstance(event, StreamStarted):
            stream_id = event.stream.stream_id
            self._end_streams_of(event.stream.segment)
            self._batchers[stream_id] = Batcher(event.stream, span_s=self._batch_span_s)
            self._clocks[stream_id] = event.clock
            self._monitors[stream_id] = StreamMonitor(event.stream, self.source.now_s())
            self.uplink.start_stream(event.stream)
            self._started.set()
        elif isinstance(event, SamplePacket):
            self._take_packet(event)
        elif isinstance(event, Mark):
            self._flush()
            self.uplink.append(event)
        else:
            self._monitors[event.stream_id].said(event)
            self._report_one(event.stream_id)

    def _end_streams_of(self, segment: SegmentName) -> None:
        """A sensor that starts anew ends its segment's stream: nothing is expected of it now."""
        for stream_id, monitor in list(self._monitors.items()):
            if monitor.stream.segment == segment:
                for batch in self._batchers.pop(stream_id).flush():
                    self.uplink.append(batch)
                del self._monitors[stream_id], self._clocks[stream_id]

    def _take_packet(self, packet: SamplePacket) -> None:
        batcher = self._batchers[packet.stream_id]
        time_s, u_s = self._clocks[packet.stream_id].session_times(packet)
        if self._is_full():
            self._leave_out(packet, u_s)
            return
        left_out = self._left_out.pop(batcher.stream.segment, 0)
        packet = replace(packet, lost_before=packet.lost_before + left_out)
        rejected = batcher.rejected
        for batch in batcher.add(packet, time_s, u_s):
            self.uplink.append(batch)
        self._monitors[packet.stream_id].arrived(
            len(packet.ticks),
            packet.received_s,
            lost=packet.lost_before - left_out + batcher.rejected - rejected,
            clock_u_s=u_s,
        )

    def _is_full(self) -> bool:
        """Whether the spool has no room for a packet; said when it begins and when it ends."""
        room = self.uplink.spool.room_bytes
        was, self._full = self._full, room < (ROOM_AGAIN_BYTES if self._full else ROOM_BYTES)
        if self._full and not was:
            self._tell(
                "the spool is full and the service takes nothing: samples are LOST from now on; "
                "free some space or bring the service back"
            )
        elif was and not self._full:
            self._tell("the spool has room again: samples are kept from now on")
        return self._full

    def _leave_out(self, packet: SamplePacket, u_s: float) -> None:
        """A packet that cannot be kept: it will stand as a loss before the next that can."""
        lost = packet.lost_before + len(packet.ticks)
        monitor = self._monitors[packet.stream_id]
        segment = monitor.stream.segment
        self._left_out[segment] = self._left_out.get(segment, 0) + lost
        monitor.arrived(len(packet.ticks), packet.received_s, lost=lost, clock_u_s=u_s)

    def _correct(self, found: ClockCorrection) -> bool:
        """Take a sync check into the clock of a running stream, if that clock is a learnt one.

        The others are pinned as they are, so that what they learn later moves nothing either.
        """
        clock = self._clocks.get(found.stream_id)
        if not isinstance(clock, ArrivalClock):
            return False
        others = [
            other
            for other in self._clocks.values()
            if isinstance(other, ArrivalClock) and other is not clock
        ]
        check = SyncCorrection(found.offset_s, found.u_s, found.start_s, found.end_s)
        bring_together(others, clock, check)
        return True

    def _flush(self) -> None:
        """Every sample into the spool, also those of batches that are not full."""
        for batcher in self._batchers.values():
            for batch in batcher.flush():
                self.uplink.append(batch)

    async def _keep_line(self) -> None:
        """Connect once there is a stream to name."""
        await self._started.wait()
        await self._link.run()

    async def _report(self) -> None:
        while True:
            await asyncio.sleep(REPORT_EVERY_S)
            self._say_spool()
            for stream_id in self._monitors:
                self._report_one(stream_id)

    def _say_spool(self) -> None:
        """Say it when the disk of the spool begins to refuse, and when it takes samples again."""
        trouble = self.uplink.spool.trouble
        if (trouble is None) == (self._spool_trouble is None):
            return
        self._spool_trouble = trouble
        if trouble is None:
            self._tell("the disk takes samples again")
        else:
            self._tell(
                f"samples cannot be written to {trouble}: free some space; until then they wait "
                "in memory, and what the service has not taken ends with this program"
            )

    def _tell(self, sentence: str) -> None:
        if self._news is not None:
            self._news(sentence)

    def _report_one(self, stream_id: str) -> None:
        report: StreamReport = self._monitors[stream_id].report(self.source.now_s())
        self._say_if_slow(report)
        self.uplink.report(report)
        self._link.changed.set()

    def _say_if_slow(self, report: StreamReport) -> None:
        """Say it when a stream is first slow; of silence and loss the source speaks itself."""
        if report.state != "slow" or report.stream_id in self._slow:
            return
        self._slow.add(report.stream_id)
        stream = self._monitors[report.stream_id].stream
        place = stream.segment.replace("_", "-")
        self._tell(
            f"the {place} sensor ({stream.sensor}) sends {report.rate_hz:.0f} samples a second, "
            f"expected {stream.rate_hz:g}: bring it closer, or switch it off and on"
        )


async def send_unfinished(
    folder: Path, address: ServiceAddress, *, news: News | None = None
) -> str | None:
    """Send what an earlier run left in its spool folder, then delete it; the session it went to.

    Raises SpoolError: in use or damaged; UplinkError. A cancel leaves the rest in the folder.
    """
    spool = DiskSpool(folder)
    done = False
    try:
        uplink = Uplink(spool)
        if uplink.waiting:
            uplink.append(Finish())
            await ServiceLink(uplink, address, news=news).run()
        done = uplink.finished or not uplink.waiting
        return uplink.session
    finally:
        spool.close(done=done)


async def _ended(task: asyncio.Task[object]) -> None:
    """Cancel a task of ours and wait until it has ended, whatever it ended with."""
    task.cancel()
    await asyncio.wait({task})
    if not task.cancelled():
        task.exception()
