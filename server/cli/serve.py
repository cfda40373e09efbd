"""`torsolog serve`: the pages and the database, ready for collectors."""

from __future__ import annotations

import asyncio
import socket
import webbrowser
from typing import Annotated
from urllib.parse import urlsplit

import typer

from sensors.service_link import DEFAULT_PORT
from server.app import build_app
from server.cli.console import say
from server.cli.database import Database, database_url
from server.cli.options import NoBrowser, Port
from server.listening import EVERY_ADDRESS, address_of, bind, service
from server.settings import Settings, is_loopback, new_token
from server.stopping import stop_signals


def serve(
    *,
    host: Annotated[
        str,
        typer.Option(
            help="Address to listen on. 127.0.0.1: this machine only; 0.0.0.0: the whole network, "
            "then a token guards the pages."
        ),
    ] = "127.0.0.1",
    port: Port = DEFAULT_PORT,
    database: Database = None,
    token: Annotated[
        str | None,
        typer.Option(
            help="Token to ask for; without it, a new one is made where others can reach the "
            "pages.",
            envvar="TORSOLOG_TOKEN",
            show_envvar=False,
        ),
    ] = None,
    no_browser: NoBrowser = False,
    radio: Annotated[
        bool, typer.Option(help="Let the pages use this machine's Bluetooth for the sensors.")
    ] = True,
) -> None:
    """Start the service: pages in the browser, a database behind, collectors welcome."""
    if token is None and not is_loopback(host):
        token = new_token()
    settings = Settings(database_url(database), host, port, token, radio=radio)
    with bind(host, port) as listener:
        asyncio.run(_serve(settings, listener, open_page=not no_browser))


async def _serve(settings: Settings, listener: socket.socket, *, open_page: bool) -> None:
    """Serve until a signal or the service's own end; a cancel ends it in order."""
    with stop_signals() as stop:
        async with service(build_app(settings), listener) as serving:
            announce(address_of(listener, settings.host), settings, open_page=open_page)
            waiting = asyncio.create_task(stop.wait(), name="stop is asked for")
            await asyncio.wait({serving, waiting}, return_when=asyncio.FIRST_COMPLETED)
            waiting.cancel()


def announce(address: str, settings: Settings, *, open_page: bool) -> None:
    """Say where the page is, and open it where wanted."""
    query = f"?token={settings.token}" if settings.token else ""
    say(f"torsolog is at {address}{query} (stop with Ctrl-C)")
    if not is_loopback(settings.host):
        port = urlsplit(address).port
        name = settings.host if settings.host not in EVERY_ADDRESS else socket.gethostname()
        say(f"on other devices of the network: http://{name}:{port}/{query}")
    if open_page:
        webbrowser.open(address + query)
