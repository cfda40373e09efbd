"""The real service in a thread of its own, for tests that drive a browser from the main thread."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Coroutine
from typing import Any

import httpx

from sensors import wire
from server.app import build_app
from server.listening import address_of, bind, service
from server.settings import Settings
from tests.support.wire_line import Line, line_to

WITHIN_S = 60.0


class ServiceThread:
    """A service that answers at `address` from `start` to `stop`."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.address = ""
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, name="service", daemon=True)

    def start(self) -> ServiceThread:
        self._thread.start()
        assert self._ready.wait(WITHIN_S), "the service did not come up"
        return self

    def stop(self) -> None:
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(WITHIN_S)
        assert not self._thread.is_alive(), "the service did not end"

    def do(self, work: Coroutine[Any, Any, Any]) -> Any:
        """Result of a coroutine run in the service's thread."""
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(WITHIN_S)

    def get(self, path: str) -> Any:
        """Answer of the API."""
        return httpx.get(self.address + path.lstrip("/")).raise_for_status().json()

    def add_golfer(self, **facts: Any) -> str:
        """Id of a new golfer."""
        answer = httpx.post(self.address + "api/golfers", json=facts).raise_for_status()
        return str(answer.json()["id"])

    def _run(self) -> None:
        with asyncio.Runner(loop_factory=lambda: self._loop) as runner:
            runner.run(self._serve())

    async def _serve(self) -> None:
        self._end = asyncio.Event()
        with bind(self.settings.host, self.settings.port) as listener:
            async with service(build_app(self.settings), listener):
                self.address = address_of(listener, self.settings.host)
                self._ready.set()
                await self._end.wait()


class SensorLine:
    """A collector's line into a ServiceThread that is fed piece by piece."""

    def __init__(self, served: ServiceThread, **hello: Any) -> None:
        self._served = served
        self._hello = hello
        self.session_id = ""

    def __enter__(self) -> SensorLine:
        self._served.do(self._open())
        return self

    def __exit__(self, *_: object) -> None:
        self._served.do(self._close())

    def send(self, messages: list[wire.FromCollector]) -> None:
        """Send, and wait until the service has stored all of it."""
        self._served.do(self._line.send_all(messages))

    async def _open(self) -> None:
        self._context = line_to(self._served.address)
        self._line: Line = await self._context.__aenter__()
        self.session_id = (await self._line.hello(**self._hello)).session

    async def _close(self) -> None:
        await self._line.send(wire.Finish())
        await self._line.socket.wait_closed()
        await self._context.__aexit__(None, None, None)
