"""A service on a real socket that stores what it is sent, and has bad days on request.

It keeps the wire's promise (store, then acknowledge; drop what it has) and nothing else of a
service. `with server.refusing_to_store():` and the like switch a bad day on and off.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response

from sensors import wire
from sensors.service_link import ServiceAddress

BadDay = Callable[[int], bool]
"""Frames received on this connection so far -> whether the line breaks now."""


@dataclass
class StoredStream:
    """Batches of one stream in the order in which they were stored."""

    stream: wire.Stream
    batches: list[wire.SampleBatch] = field(default_factory=list)

    def samples(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """time_s, gyro, accel of the whole stream."""
        parts = [wire.batch_arrays(batch) for batch in self.batches]
        return tuple(np.concatenate(column) for column in zip(*parts, strict=True))  # type: ignore[return-value]


class IngestServer:
    """The stored streams by segment, marks, reports; how often it was connected to and finished."""

    def __init__(self) -> None:
        self.streams: dict[str, StoredStream] = {}
        self.marks: list[wire.Mark] = []
        self.reports: list[wire.StreamReport] = []
        self.hellos: list[wire.Hello] = []
        self.received_batches = 0
        self.finished = asyncio.Event()
        self.stored = asyncio.Event()
        self.received = asyncio.Event()
        self.breaks: BadDay = lambda _count: False
        self.acknowledges = True
        self.delay_s = 0.0
        self.refusal: wire.Refusal | None = None
        self.http_status: int | None = None
        self.authorizations: list[str | None] = []
        self.port = 0
        self._server: Server | None = None
        self._lines: set[ServerConnection] = set()

    @property
    def address(self) -> ServiceAddress:
        """Where it listens."""
        return ServiceAddress.of("127.0.0.1", self.port)

    def stream(self, segment: str) -> StoredStream:
        """The one stream of a segment."""
        found = [s for s in self.streams.values() if s.stream.segment == segment]
        assert len(found) == 1, f"{len(found)} streams of {segment}"
        return found[0]

    async def until(self, condition: Callable[[], bool]) -> None:
        """Wait until a condition on what was received holds."""
        while not condition():
            self.received.clear()
            await self.received.wait()

    async def start(self) -> None:
        """Listen; on the same port as before, if there was one."""
        self._server = await serve(
            self._serve, "127.0.0.1", self.port, max_size=None, process_request=self._let_in
        )
        self.port = next(iter(self._server.sockets)).getsockname()[1]

    async def stop(self) -> None:
        """Stop listening and break every line."""
        if self._server is not None:
            for socket in self._lines:
                socket.transport.abort()
            self._server.close(close_connections=False)
            await self._server.wait_closed()
            self._server = None

    def _let_in(self, socket: ServerConnection, request: Request) -> Response | None:
        self.authorizations.append(request.headers.get("Authorization"))
        return None if self.http_status is None else socket.respond(self.http_status, "no\n")

    @contextlib.contextmanager
    def silent(self) -> Iterator[None]:
        """Store, but acknowledge nothing."""
        self.acknowledges = False
        try:
            yield
        finally:
            self.acknowledges = True

    async def _serve(self, socket: ServerConnection) -> None:
        self._lines.add(socket)
        with contextlib.suppress(ConnectionClosed):
            for count in itertools.count(1):
                frame = await socket.recv()
                assert isinstance(frame, bytes)
                if self.breaks(count):
                    socket.transport.abort()
                    break
                if self.delay_s:
                    await asyncio.sleep(self.delay_s)
                await self._take(wire.decode_from_collector(frame), socket)
                self.received.set()
        self._lines.discard(socket)

    async def _take(self, message: wire.FromCollector, socket: ServerConnection) -> None:
        if isinstance(message, wire.Hello):
            await self._greet(message, socket)
        elif isinstance(message, wire.SampleBatch):
            await self._store(message, socket)
        elif isinstance(message, wire.Mark):
            if message not in self.marks:
                self.marks.append(message)
        elif isinstance(message, wire.StreamReport):
            self.reports.append(message)
        else:
            self.finished.set()
            await socket.close(1000)

    async def _greet(self, hello: wire.Hello, socket: ServerConnection) -> None:
        self.hellos.append(hello)
        if self.refusal is not None:
            await socket.send(wire.encode(self.refusal))
            await socket.close(1008)
            return
        for stream in hello.streams:
            self.streams.setdefault(stream.stream_id, StoredStream(stream))
        resume = {s.stream_id: len(self.streams[s.stream_id].batches) for s in hello.streams}
        welcome = wire.Welcome(
            version=wire.WIRE_VERSION, session=hello.session or "session-1", resume=resume
        )
        await socket.send(wire.encode(welcome))

    async def _store(self, batch: wire.SampleBatch, socket: ServerConnection) -> None:
        self.received_batches += 1
        kept = self.streams[batch.stream_id].batches
        if batch.sequence > len(kept):
            refusal = wire.Refusal(
                code="sequence",
                message=f"expected {len(kept)}, received {batch.sequence}",
                stream_id=batch.stream_id,
                sequence=len(kept),
            )
            await socket.send(wire.encode(refusal))
            return
        if batch.sequence == len(kept):
            kept.append(batch)
        self.stored.set()
        if self.acknowledges:
            await socket.send(
                wire.encode(wire.Acknowledge(stream_id=batch.stream_id, sequence=batch.sequence))
            )


@contextlib.asynccontextmanager
async def ingest_server() -> AsyncIterator[IngestServer]:
    """A server that listens."""
    server = IngestServer()
    await server.start()
    try:
        yield server
    finally:
        await server.stop()
