"""The service as a value: `build_app(settings)`. Nothing happens at import time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from importlib.metadata import version

from fastapi import FastAPI

from server import pages, problems
from server.api import (
    about,
    change,
    checks,
    golfers,
    ingest,
    live,
    openapi,
    sensors,
    sessions,
    swings,
)
from server.clock import Clock, SystemClock
from server.committing import GroupCommit
from server.curves import CurveCache
from server.live import LiveSessions
from server.mounting_effects import MountingEffects
from server.publish import Hub
from server.radio import Radio
from server.security import Guard
from server.service import Service
from server.settings import Settings
from server.store import Store
from server.watch import watch


def build_app(settings: Settings, clock: Clock | None = None) -> FastAPI:
    """The whole service. Opens its store at once, its tasks run while it is served.

    Raises StoreError where the database cannot be used.
    """
    service = _service(settings, clock or SystemClock())
    app = FastAPI(
        title="torsolog",
        version=version("torsolog"),
        summary="Turn, separation and speed of pelvis and upper back, swing by swing.",
        lifespan=_lifespan,
        docs_url=None,  # the framework's pages load their scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
        openapi_tags=openapi.TAGS,
    )
    app.state.service = service
    problems.install(app)
    for module in (about, golfers, sessions, checks, swings, change, sensors, ingest, live):
        app.include_router(module.router)
    pages.install(app)
    openapi.install(app)
    app.add_middleware(Guard, settings=settings)
    return app


def _service(settings: Settings, clock: Clock) -> Service:
    store = Store(settings.database_url)
    hub = Hub()
    return Service(
        settings=settings,
        clock=clock,
        store=store,
        hub=hub,
        commits=GroupCommit(store.raw.append),
        live=LiveSessions(store, hub, clock),
        curves=CurveCache(store),
        mountings=MountingEffects(store),
        radio=Radio(settings.radio, clock, settings.unsent_folder()),
    )


@contextlib.asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Run the writer and the watch over the sensors; go on with sessions left open."""
    service: Service = app.state.service
    tasks = [
        asyncio.create_task(service.commits.run(), name="commit batches"),
        asyncio.create_task(watch(service), name="watch the sensors"),
    ]
    service.live.start()
    for session in await asyncio.to_thread(service.store.sessions.open_ones):
        service.live.committed(session.id)
    try:
        yield
    finally:
        await service.radio.close()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.to_thread(service.live.stop)
        service.store.close()
