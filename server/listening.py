"""The service on a socket: bound before anything else starts, ended in one place."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager

import uvicorn
from fastapi import FastAPI

from sensors.service_link import ServiceAddress
from sensors.wire import MAX_FRAME_BYTES
from server.errors import SettingsError
from server.service import Service

EVERY_ADDRESS = frozenset({"0.0.0.0", "::"})
"""Hosts that stand for every address of this machine."""
LAST_WORDS_S = 3
"""How long open connections get to end before they are cut."""
LAST_SAMPLES_S = 8.0
"""How long the sensors of this computer get to stop and to hand over what they sent."""


def bind(host: str, port: int) -> socket.socket:
    """Socket on `host` and `port` (0: any free one). Raises SettingsError: it cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        raise SettingsError(
            f"cannot listen on {host}, port {port} ({error.strerror or error}); "
            "end what uses it, or choose another with --port (0: any free one)"
        ) from error
    return listener


def address_of(listener: socket.socket, host: str) -> str:
    """URL of the first page; a host that means every address is named as this machine."""
    port = listener.getsockname()[1]
    name = "127.0.0.1" if host in {"0.0.0.0", "::"} else host
    return f"http://[{name}]:{port}/" if ":" in name else f"http://{name}:{port}/"


def own_address(listener: socket.socket, token: str | None) -> ServiceAddress:
    """Where collectors of this process reach the service on a bound socket."""
    host, port = listener.getsockname()[:2]
    return ServiceAddress.of({"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host), port, token)


class _Server(uvicorn.Server):
    """uvicorn's server that says when it is up and leaves signals to `stopping.stop_signals`."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.is_up = asyncio.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.is_up.set()

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


@asynccontextmanager
async def service(app: FastAPI, listener: socket.socket) -> AsyncIterator[asyncio.Task[None]]:
    """Serve `app` inside the block; yields the task that serves, once requests are answered.

    What an earlier run of this computer's sensors left on disk is then sent. Leaving the block,
    also by a cancel, first stops the sensors, lets open connections end for LAST_WORDS_S, then
    closes.
    """
    parts: Service = app.state.service
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        ws_max_size=MAX_FRAME_BYTES,
        timeout_graceful_shutdown=LAST_WORDS_S,
        lifespan="on",
    )
    server = _Server(config)
    task = asyncio.create_task(server.serve(sockets=[listener]), name="service")
    up = asyncio.create_task(server.is_up.wait(), name="service is up")
    try:
        await asyncio.wait({task, up}, return_when=asyncio.FIRST_COMPLETED)
        if task.done():
            task.result()
            raise SettingsError("the service ended while it was starting")
        parts.radio.send_left_over(own_address(listener, parts.settings.token))
        yield task
    finally:
        up.cancel()
        try:
            if not task.done():
                await parts.radio.stop(LAST_SAMPLES_S)
        finally:
            server.should_exit = True
            await _ended(task)


async def _ended(task: asyncio.Task[None]) -> None:
    """Wait for the server's end. A cancel is obeyed once it has ended in order: what it would
    break off tells of itself with a trace, and LAST_WORDS_S is not long."""
    try:
        await asyncio.wait({task})
    except asyncio.CancelledError:
        await asyncio.wait({task}, timeout=2.0 * LAST_WORDS_S)
        raise
