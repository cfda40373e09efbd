"""A TCP relay between a collector and a service that can be cut, also in the middle of a frame."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator


class CutLine:
    """Relays to `target` on localhost; `cuts` bytes after each connection's start it breaks.

    cut_after: bytes from collector to service after which each next connection is cut, one a
    connection; afterwards the line holds. cuts: how many were made.
    """

    def __init__(self, target: int, cut_after: list[int]) -> None:
        self.port = 0
        self.cuts = 0
        self._target = target
        self._cut_after = list(cut_after)
        self._relays: set[asyncio.Task[None]] = set()

    async def relay(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        there, back = await asyncio.open_connection("127.0.0.1", self._target)
        limit = self._cut_after.pop(0) if self._cut_after else None
        up = asyncio.create_task(self._pass(reader, back, limit))
        down = asyncio.create_task(self._pass(there, writer, None))
        try:
            await asyncio.wait({up, down}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (up, down):
                task.cancel()
            await asyncio.gather(up, down, return_exceptions=True)
            for end in (back, writer):
                end.transport.abort()

    async def _pass(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, limit: int | None
    ) -> None:
        """Bytes as they come; at the limit the rest of them is lost on the way."""
        passed = 0
        while data := await reader.read(4096):
            if limit is not None and passed + len(data) >= limit:
                writer.write(data[: limit - passed])
                await writer.drain()
                self.cuts += 1
                return
            writer.write(data)
            await writer.drain()
            passed += len(data)


@contextlib.asynccontextmanager
async def cut_line(target: int, cut_after: list[int]) -> AsyncIterator[CutLine]:
    """The relay on a free port until the block ends."""
    line = CutLine(target, cut_after)
    server = await asyncio.start_server(line.relay, "127.0.0.1", 0)
    line.port = server.sockets[0].getsockname()[1]
    try:
        yield line
    finally:
        server.close()
        await server.wait_closed()
