"""`torsolog collect`: samples from a source to a running service."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analysis.results import Handedness
from sensors.bluetooth_source import BluetoothSource
from sensors.collector import Collector, Destination, send_unfinished
from sensors.disk_spool import DiskSpool, unfinished_runs
from sensors.recording import read_recording
from sensors.replay import ReplaySource
from sensors.service_link import DEFAULT_PORT
from sensors.source import Source, new_stream_id
from sensors.spool import MemorySpool, Spool
from sensors.write_behind import WriteBehindSpool
from server.cli.console import fail, out, progress, say
from server.cli.loading import loaded
from server.cli.options import Name
from server.cli.sensors import remembered_sensors
from server.cli.service_address import ServiceUrl
from server.cli.swing_kind import SwingKind
from server.stopping import stop_signals

LOOK_EVERY_S = 0.25
SIMULATED_SOURCE = "server.cli.simulated_golfer:simulated_source"
"""Loaded where it is asked for: it costs a second of start."""


class SourceKind(StrEnum):
    """Where samples come from."""

    SIMULATED = "simulated"
    REPLAY = "replay"
    BLUETOOTH = "bluetooth"


SourceChoice = Annotated[
    SourceKind,
    typer.Option("--source", help="A simulated golfer, a recording, or sensors over Bluetooth."),
]
RecordingChoice = Annotated[
    Path | None,
    typer.Option("--recording", help="With --source replay: the Motion-BIDS folder to play."),
]
Speed = Annotated[
    float, typer.Option("--speed", min=0.0, help="1: real time; 10: ten times it; 0: at once.")
]
ServiceChoice = Annotated[
    str, typer.Option("--service", help="Address of the service, as `torsolog serve` prints it.")
]
Token = Annotated[
    str | None,
    typer.Option("--token", envvar="TORSOLOG_TOKEN", show_envvar=False, help="Its token."),
]
GolferChoice = Annotated[
    str | None, typer.Option("--golfer", help="Id or name of the golfer who wears the sensors.")
]
TitleChoice = Annotated[str | None, typer.Option("--title", help="Title of the new session.")]
SessionChoice = Annotated[
    str | None, typer.Option("--session", help="Go on with this open session instead.")
]
Swings = Annotated[
    int | None,
    typer.Option("--swings", min=1, help="Simulated: end after so many; without it, on and on."),
]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Simulated: which run of chance.")]
Swing = Annotated[SwingKind, typer.Option("--swing", help="Simulated: how speed is made.")]
Hand = Annotated[Handedness, typer.Option("--handedness", help="Simulated: how the golfer stands.")]
SpoolFolder = Annotated[
    Path | None,
    typer.Option(
        "--spool",
        help="Keep unsent samples in this folder, so that neither a crash nor a service that is "
        "away loses any; what an earlier run left there is sent first.",
    ),
]


def collect(
    *,
    source: SourceChoice = SourceKind.SIMULATED,
    recording: RecordingChoice = None,
    name: Name = None,
    speed: Speed = 1.0,
    service: ServiceChoice = f"http://127.0.0.1:{DEFAULT_PORT}",
    token: Token = None,
    golfer: GolferChoice = None,
    title: TitleChoice = None,
    session: SessionChoice = None,
    swings: Swings = None,
    seed: Seed = 0,
    swing: Swing = SwingKind.LONG_TURN,
    handedness: Hand = Handedness.RIGHT,
    spool: SpoolFolder = None,
) -> None:
    """Send samples to a running service, which opens a session for them.

    Ctrl-C ends the session once everything has been sent; a second one leaves at once. Prints the
    id of the session.
    """
    if (source is SourceKind.REPLAY) != (recording is not None):
        fail("--source replay needs --recording FOLDER, and only it takes one")
    url = ServiceUrl.parse(service, token)
    if recording is not None:
        made: Source = ReplaySource(read_recording(recording, name=name), speed=speed)
    elif source is SourceKind.BLUETOOTH:
        already_s = url.session_time_s(session) if session else None
        made = BluetoothSource(remembered_sensors(), news=say, already_s=already_s)
    else:
        made = loaded(SIMULATED_SOURCE)(swing, handedness, swings, seed, speed)
    if spool is None:
        url.ask("/api/health")
    to = Destination(session, url.golfer_id(golfer) if golfer else None, title)
    asyncio.run(_collect(made, url, to, spool))


async def _collect(source: Source, url: ServiceUrl, to: Destination, folder: Path | None) -> None:
    """Run until the source ends or a signal comes; a cancel keeps what a disk spool holds."""
    logging.getLogger("sensors").addHandler(logging.NullHandler())  # the news says the same
    with stop_signals() as stop:
        spool: Spool = MemorySpool()
        if folder is not None:
            await _send_left_over(folder, url)
            spool = WriteBehindSpool(DiskSpool(folder / new_stream_id(), overflow_bytes=0))
        collector = Collector(source, url.for_collector(), spool, to, news=say)
        async with _bar(collector):
            await collector.run(stop)
    if collector.session is not None:
        out.print(collector.session, markup=False)


async def _send_left_over(folder: Path, url: ServiceUrl) -> None:
    for run in unfinished_runs(folder):
        session = await send_unfinished(run, url.for_collector(), news=say)
        say(f"sent what an earlier run left in {run.name}, to session {session}")


@asynccontextmanager
async def _bar(collector: Collector) -> AsyncIterator[None]:
    """A bar over the source's duration, or one that only moves where it has no end."""
    source = collector.source
    with progress("sending", source.duration_s) as bar:
        task = bar.task_ids[0]

        async def look() -> None:
            start_s = source.now_s()
            while True:
                waiting = f" ({collector.uplink.waiting} waiting)" * bool(collector.uplink.waiting)
                sent_s = source.now_s() - start_s
                bar.update(task, completed=sent_s, description=f"{sent_s:.0f} s{waiting}")
                await asyncio.sleep(LOOK_EVERY_S)

        looking = asyncio.create_task(look(), name="progress")
        try:
            yield
        finally:
            looking.cancel()
            await asyncio.wait({looking})
