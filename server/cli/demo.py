"""`torsolog demo`: everything at once, with invented golfers and no hardware."""

from __future__ import annotations

import asyncio
import socket
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from sensors.collector import Collector, Destination
from sensors.service_link import DEFAULT_PORT, ServiceAddress
from sensors.simulated import SimulatedSource
from sensors.spool import MemorySpool
from server.app import build_app
from server.cli.console import fail, progress, say
from server.cli.options import NoBrowser, Port
from server.cli.serve import announce
from server.demo.club import fill
from server.demo.scenario import LIVE, SESSIONS
from server.listening import address_of, bind, service
from server.settings import Settings, sqlite_url
from server.stopping import stop_signals
from server.store import NewSession, Store

HOST = "127.0.0.1"
DATABASE = "demo.db"
Keep = Annotated[
    Path | None,
    typer.Option(
        "--keep",
        metavar="FOLDER",
        help="Keep the demo's database in this folder and go on with it next time; without it, "
        "everything is made anew and is gone at the end.",
    ),
]
Speed = Annotated[
    float, typer.Option("--speed", min=0.1, max=20.0, help="How fast the live session passes.")
]


def demo(
    *,
    port: Port = DEFAULT_PORT,
    no_browser: NoBrowser = False,
    keep: Keep = None,
    speed: Speed = 1.0,
) -> None:
    """Show everything with two invented golfers, six earlier sessions and a live simulated one.

    Runs on this machine only, needs no sensors and touches no data of yours. Ctrl-C ends it.
    """
    with bind(HOST, port) as listener, _folder(keep) as folder:
        settings = Settings(sqlite_url(folder / DATABASE), HOST, port)
        session_id = _prepare(settings, datetime.now(UTC))
        asyncio.run(_run(settings, listener, session_id, speed, open_page=not no_browser))


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    if keep is None:
        with tempfile.TemporaryDirectory(prefix="torsolog-demo-") as folder:
            yield Path(folder)
        return
    if keep.exists() and not keep.is_dir():
        fail(f"--keep {keep}: expected a folder")
    keep.mkdir(parents=True, exist_ok=True)
    yield keep


def _prepare(settings: Settings, now: datetime) -> str:
    """Earlier sessions where they are missing, and the open session; gives its id."""
    store = Store(settings.database_url)
    try:
        ids = {golfer.name: golfer.id for golfer in store.golfers.all() if golfer.invented}
        if len(store.sessions.all()) < len(SESSIONS):
            if ids:
                fail(f"{store.name} holds an unfinished demo; give another folder with --keep")
            with progress("making six earlier sessions", len(SESSIONS)) as bar:
                ids = fill(store, now, lambda: bar.advance(bar.task_ids[0]))
        for left in store.sessions.open_ones():
            store.sessions.end(left.id, now)
        golfer_id = ids.get(LIVE.golfer.name)
        new = NewSession(LIVE.title, now, golfer_id, invented=True)
        return store.sessions.open(new).id
    finally:
        store.close()


async def _run(
    settings: Settings,
    listener: socket.socket,
    session_id: str,
    speed: float,
    *,
    open_page: bool,
) -> None:
    """Serve and stream until a signal comes; a cancel ends both in order."""
    address = address_of(listener, HOST)
    port = listener.getsockname()[1]
    source = SimulatedSource(LIVE.simulated(swings=None), speed=speed)
    with stop_signals() as stop:
        async with service(build_app(settings), listener) as serving:
            collector = Collector(
                source, ServiceAddress.of(HOST, port), MemorySpool(), Destination(session_id)
            )
            streaming = asyncio.create_task(collector.run(stop), name="simulated session")
            announce(address, settings, open_page=open_page)
            say("two invented golfers; a simulated session streams in, first swing in about 25 s")
            try:
                await asyncio.wait({serving, streaming}, return_when=asyncio.FIRST_COMPLETED)
            finally:
                if serving.done():
                    streaming.cancel()
                await asyncio.wait({streaming})
            if not streaming.cancelled():
                streaming.result()
