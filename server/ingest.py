"""What a collector sends: checked, committed, then acknowledged. One `Collector` a connection.

Bytes in, bytes out; the WebSocket itself is in server.api.ingest.

Codes of refusals. Fatal: `hello`, `version`, `session`, `golfer`, `title`, `stream` in a Hello, and
`store` (the commit failed: keep what was not acknowledged and come again). Not fatal: `frame` (not
a message), `stream` (unknown), `batch` (does not hold together), `sequence` (a hole; its `sequence`
is the one wanted next). In words only, what comes is taken: `session-ended` (ended from the page),
`sent-twice` (another collector sends the same).
"""

from __future__ import annotations

import asyncio
import logging
import math
from collections.abc import Awaitable, Callable
from typing import NoReturn, ParamSpec

from sqlalchemy.exc import DBAPIError

from sensors import wire
from server.errors import ConflictError, NotFoundError, StoreError
from server.sent_twice import Arrivals
from server.service import Service
from server.sessions import add_mark, finish_session, start_session
from server.store import SessionSummary, incoming
from server.sync_checks import correction_of

log = logging.getLogger(__name__)

UNACKNOWLEDGED_LIMIT = 64
"""Batches of one collector that wait for their commit; above that, its next frame waits."""
MAX_RATE_HZ = 8000.0
MAX_STREAMS = 1000
"""A sensor that returns from out of reach may be a new one; while a service is away they gather."""
TEXT_MAX = 200
ANSWER_WITHIN_S = 3.0
"""A collector answers a correction at once; on a bad line it is not waited for longer."""

P = ParamSpec("P")
Send = Callable[[bytes], Awaitable[None]]


class RefusedError(Exception):
    """A frame that the service does not take; carries the refusal to send."""

    def __init__(self, refusal: wire.Refusal) -> None:
        super().__init__(refusal.message)
        self.refusal = refusal


def refused(code: str, message: str, *, fatal: bool = False) -> RefusedError:
    """Error that ends in a Refusal without stream."""
    return RefusedError(wire.Refusal(code=code, message=message, fatal=fatal))


class Collector:
    """One connected collector, from its Hello to its Finish or the loss of the line."""

    def __init__(self, service: Service, send: Send) -> None:
        self._service = service
        self._send = send
        self._session: SessionSummary | None = None
        self.finished = False
        self.arrivals = Arrivals()
        self._streams: dict[str, wire.Stream] = {}
        self._corrects = False
        self._asked: dict[int, tuple[str, asyncio.Future[bool]]] = {}
        self._waiting: asyncio.Queue[tuple[wire.SampleBatch, asyncio.Future[int]]] = asyncio.Queue(
            UNACKNOWLEDGED_LIMIT
        )

    @property
    def session_id(self) -> str | None:
        """The session it sends to, once it has said Hello."""
        return self._session.id if self._session else None

    async def dismiss(self) -> None:
        """Tell it that its session has ended; what it still sends is kept."""
        message = "the session has ended; open another one to go on"
        await self._send(wire.encode(wire.Refusal(code="session-ended", message=message)))

    def sends(self, stream_id: str) -> bool:
        """Whether it has named this stream."""
        return stream_id in self._streams

    async def correct(self, correction: wire.ClockCorrection) -> bool | None:
        """Send a correction; gives the answer, or None where none came in ANSWER_WITHIN_S.

        A collector of an earlier release is not asked: its clocks take none.
        """
        if not self._corrects:
            await self._keep_answer(correction.check, correction.stream_id, taken=False)
            return False
        answer = await self._ask(correction)
        await asyncio.wait({answer}, timeout=ANSWER_WITHIN_S)
        return answer.result() if answer.done() else None

    async def _ask(self, correction: wire.ClockCorrection) -> asyncio.Future[bool]:
        answer: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._asked[correction.check] = (correction.stream_id, answer)
        await self._send(wire.encode(correction))
        return answer

    async def _corrected(self, message: wire.Corrected) -> None:
        if message.check not in self._asked:
            raise refused("frame", f"no correction of a check {message.check} was asked for")
        stream_id, answer = self._asked.pop(message.check)
        await self._keep_answer(message.check, stream_id, taken=message.taken)
        if not answer.done():
            answer.set_result(message.taken)

    async def _keep_answer(self, check: int, stream_id: str, *, taken: bool) -> None:
        """Write down whether a stream's clock took a check, and from when on."""
        checks = self._service.store.sync_checks
        board = self._service.status(self._open_session().id)
        from_s = board.last_seen_s(stream_id)
        await asyncio.to_thread(checks.answered, check, taken=taken, from_s=from_s)
        board.corrected(await asyncio.to_thread(checks.offsets_s, [stream_id]))

    async def receive(self, frame: bytes) -> bool:
        """Handle one frame; False: the connection is to be closed.

        A cancel may leave a queued batch unacknowledged; the collector then sends it once more.
        Raises StoreError, as `acknowledge` does.
        """
        try:
            return await self._handle(wire.decode_from_collector(frame))
        except wire.WireError as error:
            refusal = wire.Refusal(code="frame", message=str(error), fatal=self._session is None)
        except RefusedError as error:
            refusal = error.refusal
        except (StoreError, DBAPIError) as error:
            await self._cannot_store(error)
        await self._send(wire.encode(refusal))
        return not refusal.fatal

    async def acknowledge(self) -> None:
        """Acknowledge batches in the order in which they came, until cancelled.

        Raises StoreError where the store could not commit: nothing was taken, the collector keeps
        what it has and comes again.
        """
        while True:
            batch, outcome = await self._waiting.get()
            try:
                await self._settle(batch, outcome)
            finally:
                self._waiting.task_done()

    async def _settle(self, batch: wire.SampleBatch, outcome: asyncio.Future[int]) -> None:
        try:
            wanted = await outcome
        except Exception as error:
            await self._cannot_store(error)
        answer: wire.FromService
        if batch.sequence < wanted:
            answer = wire.Acknowledge(stream_id=batch.stream_id, sequence=batch.sequence)
            self._service.live.committed(self._open_session().id)
        else:
            answer = wire.Refusal(
                code="sequence",
                message=f"stream {batch.stream_id}: batch {batch.sequence} came before batches "
                f"that are missing; expected {wanted}",
                stream_id=batch.stream_id,
                sequence=wanted,
            )
        await self._send(wire.encode(answer))

    async def _cannot_store(self, error: Exception) -> NoReturn:
        """Tell the collector to keep what it has and to come again. Raises StoreError."""
        words = self._service.commits.failed(error)
        await self._send(wire.encode(wire.Refusal(code="store", message=words, fatal=True)))
        raise StoreError(words) from error

    async def _handle(self, message: wire.FromCollector) -> bool:
        if isinstance(message, wire.Hello):
            await self._hello(message)
            return True
        session = self._open_session()
        if isinstance(message, wire.SampleBatch):
            await self._batch(session, message)
        elif isinstance(message, wire.Mark):
            check_mark(message)
            await add_mark(self._service, session.id, message)
        elif isinstance(message, wire.Corrected):
            await self._corrected(message)
        elif isinstance(message, wire.StreamReport):
            stream = self._known(message.stream_id)
            now_s = self._service.clock.monotonic()
            if self._service.status(session.id).reported(message, now_s):
                await self._keep_trouble(
                    self._service.store.troubles.reported, session.id, stream.segment, message
                )
        else:
            await self._waiting.join()
            await finish_session(self._service, session.id, all_sent=True)
            self.finished = True
            return False
        return True

    def _open_session(self) -> SessionSummary:
        if self._session is None:
            raise refused("hello", "the first frame must be a Hello", fatal=True)
        return self._session

    def _known(self, stream_id: str) -> wire.Stream:
        try:
            return self._streams[stream_id]
        except KeyError:
            known = ", ".join(sorted(self._streams)) or "none"
            raise RefusedError(
                wire.Refusal(
                    code="stream",
                    message=f"unknown stream {stream_id}; the Hello named: {known}",
                    stream_id=stream_id,
                )
            ) from None

    async def _hello(self, hello: wire.Hello) -> None:
        """Open a session or go on with one, and say which batches are wanted next."""
        check_hello(hello)
        if self._session and hello.session not in (None, self._session.id):
            raise refused("session", "one connection serves one session", fatal=True)
        try:
            if hello.session or self._session:
                session = await self._declare(hello, hello.session)
            else:
                session = await self._find_session(hello)
        except NotFoundError as error:
            raise refused(error.kind, str(error), fatal=True) from error
        except ConflictError as error:
            raise refused("stream", str(error), fatal=True) from error
        self._session = session
        self._streams |= {stream.stream_id: stream for stream in hello.streams}
        self._service.status(session.id).expect(hello.streams, self._service.clock.monotonic())
        store = self._service.store
        resume = await asyncio.to_thread(store.raw.next_sequences, tuple(self._streams))
        welcome = wire.Welcome(version=wire.WIRE_VERSION, session=session.id, resume=resume)
        await self._send(wire.encode(welcome))
        self._corrects = self._corrects or hello.corrects
        await self._correct_again(session.id, [stream.stream_id for stream in hello.streams])

    async def _correct_again(self, session_id: str, stream_ids: list[str]) -> None:
        """Corrections of these streams that are known, and those that nobody has answered."""
        checks = self._service.store.sync_checks
        known = await asyncio.to_thread(checks.offsets_s, stream_ids)
        self._service.status(session_id).corrected(known)
        for row in await asyncio.to_thread(checks.unanswered, stream_ids):
            if self._corrects:
                await self._ask(correction_of(row))
            else:
                await self._keep_answer(row.id, row.upper_back_stream_id, taken=False)

    async def _find_session(self, hello: wire.Hello) -> SessionSummary:
        """The session of a collector that names none.

        Its streams belong to one already where the Welcome was lost on the way, or where another
        collector has the same streams.
        """
        ids = [stream.stream_id for stream in hello.streams]
        async with self._service.opening:
            known = await asyncio.to_thread(self._service.store.sessions.session_of, ids)
            return await self._declare(hello, known)

    async def _declare(self, hello: wire.Hello, session_id: str | None) -> SessionSummary:
        """The session, a new one where None is named, with the streams declared in it."""
        service, now = self._service, self._service.clock.now()
        session = self._session or await start_session(
            service, session_id, hello.golfer, hello.title
        )
        declare = service.store.sessions.declare_streams
        await asyncio.to_thread(declare, session.id, hello.streams, now)
        return session

    async def _batch(self, session: SessionSummary, batch: wire.SampleBatch) -> None:
        self._known(batch.stream_id)
        try:
            checked = incoming(session.id, check_batch(batch))
        except wire.WireError as error:
            raise RefusedError(
                wire.Refusal(
                    code="batch",
                    message=str(error),
                    stream_id=batch.stream_id,
                    sequence=batch.sequence,
                )
            ) from error
        outcome = await self._service.commits.submit(checked)
        now_s = self._service.clock.monotonic()
        swapped = self._service.status(session.id).arrived(batch, checked.end_s, now_s)
        await self._waiting.put((batch, outcome))
        await self._say_if_twice(session.id, batch, checked.end_s)
        if swapped:
            await self._keep_trouble(
                self._service.store.troubles.swapped, session.id, checked.end_s
            )

    async def _say_if_twice(self, session_id: str, batch: wire.SampleBatch, end_s: float) -> None:
        others = (
            one.arrivals
            for one in self._service.collectors_of(session_id)
            if isinstance(one, Collector) and one is not self
        )
        segment = self._streams[batch.stream_id].segment
        message = self.arrivals.note(segment, batch.stream_id, end_s, others)
        if message is not None:
            await self._send(wire.encode(wire.Refusal(code="sent-twice", message=message)))

    async def _keep_trouble(self, keep: Callable[P, None], *args: P.args, **kw: P.kwargs) -> None:
        """Write a trouble down; a store that cannot must not cost the samples their line."""
        try:
            await asyncio.to_thread(keep, *args, **kw)
        except (StoreError, DBAPIError):
            log.exception("a sensor's trouble could not be written down")


def check_hello(hello: wire.Hello) -> None:
    """Raises RefusedError, fatal, naming what is off."""
    if hello.version != wire.WIRE_VERSION:
        raise refused(
            "version",
            f"wire version {hello.version} is not known here; expected {wire.WIRE_VERSION}",
            fatal=True,
        )
    if not 1 <= len(hello.streams) <= MAX_STREAMS:
        raise refused(
            "stream",
            f"a Hello names 1 to {MAX_STREAMS} streams, received {len(hello.streams)}",
            fatal=True,
        )
    if len({stream.stream_id for stream in hello.streams}) < len(hello.streams):
        raise refused("stream", "a Hello names each stream once", fatal=True)
    for stream in hello.streams:
        _check_stream(stream)
    if hello.title is not None and len(hello.title) > TEXT_MAX:
        raise refused("title", f"a title has at most {TEXT_MAX} characters", fatal=True)


def _check_stream(stream: wire.Stream) -> None:
    if not (0 < len(stream.stream_id) <= 100 and stream.stream_id.isprintable()):
        raise refused("stream", "a stream id has 1 to 100 printable characters", fatal=True)
    if max(len(stream.sensor), len(stream.address or "")) > TEXT_MAX:
        words = f"a sensor's name and address have at most {TEXT_MAX} characters"
        raise refused("stream", words, fatal=True)
    if not 0.0 < stream.rate_hz <= MAX_RATE_HZ:
        raise refused(
            "stream",
            f"stream {stream.stream_id}: expected a rate above 0 and up to {MAX_RATE_HZ:.0f} Hz, "
            f"received {stream.rate_hz}",
            fatal=True,
        )


def check_batch(batch: wire.SampleBatch) -> wire.SampleBatch:
    """The batch; raises WireError where a number beside the arrays is out of range."""
    where = f"batch {batch.sequence} of stream {batch.stream_id}"
    for name, number in (("sequence", batch.sequence), ("lost_before", batch.lost_before)):
        if not 0 <= number < 2**31:
            raise wire.WireError(f"{where}: {name} is 0 or more and below 2^31, received {number}")
    if not -(2**63) <= batch.first_tick < 2**63:
        raise wire.WireError(f"{where}: first_tick has at most 64 bits")
    for name in ("ticks_per_sample", "received_s", "time_u_s"):
        if not math.isfinite(getattr(batch, name)):
            raise wire.WireError(f"{where}: {name} is not a finite number")
    return batch


def check_mark(mark: wire.Mark) -> None:
    """Raises WireError for a stretch of time that is none."""
    if not (math.isfinite(mark.start_s) and math.isfinite(mark.end_s)):
        raise wire.WireError(f"mark {mark.kind}: start_s and end_s are finite numbers")
    if not mark.start_s < mark.end_s:
        raise wire.WireError(
            f"mark {mark.kind}: expected start_s before end_s, "
            f"received {mark.start_s} and {mark.end_s}"
        )
