"""The sensors page: find, assign, start, stop, and watch."""

from __future__ import annotations

import asyncio
import contextlib
from http import HTTPStatus
from typing import Literal

from fastapi import APIRouter, Request, WebSocket, WebSocketDisconnect
from pydantic import BaseModel, ConfigDict, Field

from sensors.service_link import ServiceAddress
from server.api.dependencies import ServiceOf
from server.models import ID_PATTERN
from server.problems import declared
from server.sensor_views import MotionMessage, SensorsMessage, SensorsView, sensors_view
from server.sessions import start_sensors

router = APIRouter(prefix="/api/sensors", tags=["sensors"], responses=declared())

CONFLICT = declared(HTTPStatus.NOT_FOUND, HTTPStatus.BAD_REQUEST, HTTPStatus.CONFLICT)
MOTION_EVERY_S = 0.1
TELL_EVERY_S = 2.0


class ScanInput(BaseModel):
    """How long to look around, s."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    seconds: float = Field(5.0, ge=0.2, le=60.0)


class PlaceInput(BaseModel):
    """Where a sensor is worn; null: it is forgotten. fixing: what holds it there, a strap over skin
    and cloth or something rigid, null where nobody knows; left out, as it was said before."""

    model_config = ConfigDict(extra="forbid")

    segment: Literal["pelvis", "upper_back"] | None
    fixing: Literal["strapped", "rigid"] | None = None


class StartInput(BaseModel):
    """Who wears the sensors, and the title of the new session."""

    model_config = ConfigDict(extra="forbid")

    golfer_id: str | None = Field(None, pattern=ID_PATTERN)
    title: str | None = Field(None, min_length=1, max_length=200)


class Started(BaseModel):
    """The session that the samples go to."""

    session_id: str


@router.get("")
def list_sensors(service: ServiceOf) -> SensorsView:
    """The radio, and every sensor seen or remembered."""
    return sensors_view(service)


@router.post("/scan", status_code=HTTPStatus.ACCEPTED, responses=CONFLICT)
async def scan(how: ScanInput, service: ServiceOf) -> SensorsView:
    """Look around in the background."""
    service.radio.scan(how.seconds)
    return sensors_view(service)


@router.post("/start", responses=CONFLICT)
async def start(new: StartInput, request: Request, service: ServiceOf) -> Started:
    """Open a session and stream both sensors into it."""
    host, port = request.scope["server"]
    address = ServiceAddress.of(host, port, service.settings.token)
    title = new.title or "Range session"
    session = await start_sensors(service, address, new.golfer_id, title)
    return Started(session_id=session.id)


@router.post("/stop", responses=CONFLICT)
async def stop(service: ServiceOf) -> SensorsView:
    """Stop the sensors; the session ends once everything is stored.

    What takes too long is said as the radio's obstacle and stored later.
    """
    await service.radio.stop()
    return sensors_view(service)


@router.post("/swap", responses=CONFLICT)
def swap(service: ServiceOf) -> SensorsView:
    """Pelvis becomes upper back and the other way round, at once or not at all."""
    service.radio.swap()
    return sensors_view(service)


@router.put("/{address}", responses=CONFLICT)
async def assign(address: str, place: PlaceInput, service: ServiceOf) -> SensorsView:
    """Remember where a sensor is worn; it takes the place of the one that was there."""
    service.radio.assign(address, place.segment)
    if "fixing" in place.model_fields_set:
        service.radio.hold(address, place.fixing)
    return sensors_view(service)


@router.websocket("/live")
async def live(socket: WebSocket, service: ServiceOf) -> None:
    """State on change and every two seconds; the rates of motion while streaming."""
    await socket.accept()
    reading = asyncio.create_task(_read(socket), name="sensors channel reader")
    said, said_s = "", 0.0
    loop = asyncio.get_running_loop()
    try:
        while not reading.done():
            view = SensorsMessage(**sensors_view(service).model_dump())
            text = view.model_dump_json()
            if text != said or loop.time() - said_s >= TELL_EVERY_S:
                await socket.send_text(text)
                said, said_s = text, loop.time()
            run = service.radio.run
            if run is not None and service.radio.streaming:
                newest = run.source.newest_dps
                motion = MotionMessage(
                    pelvis_dps=newest.get("pelvis"), upper_back_dps=newest.get("upper_back")
                )
                await socket.send_text(motion.model_dump_json())
            await asyncio.wait({reading}, timeout=MOTION_EVERY_S)
    except (WebSocketDisconnect, RuntimeError):
        return
    finally:
        reading.cancel()
        with contextlib.suppress(asyncio.CancelledError, RuntimeError):
            await reading


async def _read(socket: WebSocket) -> None:
    while (await socket.receive())["type"] != "websocket.disconnect":
        continue
