"""The real service on a free port, in the test's own event loop."""

from __future__ import annotations

from contextlib import asynccontextmanager
from dataclasses import dataclass

import httpx
from fastapi import FastAPI

from server.app import build_app
from server.listening import address_of, bind, service
from server.service import Service
from server.settings import Settings


@dataclass
class Running:
    """A service that answers at `address`."""

    app: FastAPI
    address: str
    http: httpx.AsyncClient

    @property
    def parts(self) -> Service:
        """The service's parts."""
        return self.app.state.service

    @property
    def live_address(self) -> str:
        """URL of the live channel that follows the open session."""
        return self.address.replace("http://", "ws://") + "api/live"


@asynccontextmanager
async def running(settings: Settings, clock=None):
    """Serve until the block ends."""
    with bind(settings.host, 0) as listener:
        app = build_app(settings, clock)
        async with service(app, listener):
            address = address_of(listener, settings.host)
            async with httpx.AsyncClient(base_url=address, timeout=30) as http:
                yield Running(app, address, http)
