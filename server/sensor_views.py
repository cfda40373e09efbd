"""The radio and its sensors as pages see them."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel

from sensors.bluetooth_intake import SensorPhase
from server.service import Service

Phase = Literal["seen", "connecting", "streaming", "silent", "lost"]
PHASES: dict[SensorPhase, Phase] = {
    SensorPhase.SOUGHT: "connecting",
    SensorPhase.CONNECTED: "connecting",
    SensorPhase.STREAMING: "streaming",
    SensorPhase.SILENT: "silent",
    SensorPhase.LOST: "lost",
}


class NewsView(BaseModel):
    """What the run of the sensors said to people, and when."""

    at: datetime
    text: str


class RadioView(BaseModel):
    """The radio of the service's computer. obstacle: what is in the way, and what to do.

    news: the last of the run, newest last.
    """

    enabled: bool
    scanning: bool
    streaming: bool
    session_id: str | None
    obstacle: str | None
    news: list[NewsView]


class SensorView(BaseModel):
    """A sensor seen or remembered. text: what stands between it and us.

    fixing: what holds it on the body, null where nobody said.
    """

    address: str
    name: str
    profile: str
    rssi_dbm: int | None = None
    segment: Literal["pelvis", "upper_back"] | None = None
    fixing: Literal["strapped", "rigid"] | None = None
    phase: Phase = "seen"
    rate_hz: float | None = None
    lost: int = 0
    battery_percent: int | None = None
    clock_u_ms: float | None = None
    text: str | None = None


class SensorsView(BaseModel):
    """The radio, its sensors, and whether they seem to be worn the wrong way round."""

    radio: RadioView
    sensors: list[SensorView]
    swapped: bool


class SensorsMessage(SensorsView):
    """The same on the live channel."""

    type: Literal["sensors"] = "sensors"


class MotionMessage(BaseModel):
    """Size of the newest angular rate, deg/s."""

    type: Literal["motion"] = "motion"
    pelvis_dps: float | None
    upper_back_dps: float | None


def sensors_view(service: Service) -> SensorsView:
    """What is seen, what is remembered, and what the run says of each."""
    radio = service.radio
    found: dict[str, SensorView] = {}
    for key, seen in radio.seen.items():
        if seen.profile is not None:
            found[key] = SensorView(
                address=seen.address,
                name=seen.name,
                profile=seen.profile.id,
                rssi_dbm=seen.rssi_dbm,
            )
    for known in radio.known():
        blank = SensorView(address=known.address, name=known.name, profile=known.profile)
        view = found.setdefault(known.address.lower(), blank)
        view.segment, view.fixing = known.segment, known.fixing
    if radio.streaming:
        _with_run(service, found)
    return SensorsView(
        radio=RadioView(
            enabled=radio.enabled,
            scanning=radio.scanning,
            streaming=radio.streaming,
            session_id=radio.session_id,
            obstacle=radio.obstacle,
            news=[NewsView(at=one.at, text=one.text) for one in radio.news],
        ),
        sensors=list(found.values()),
        swapped=radio.run is not None and radio.run.source.swapped,
    )


def _with_run(service: Service, found: dict[str, SensorView]) -> None:
    radio = service.radio
    board = service.boards.get(radio.session_id or "")
    streams = board.streams(service.clock.monotonic()) if board else []
    by_segment = {stream.segment: stream for stream in streams}
    for intake in radio.run.source.sensors if radio.run else ():
        view = found.get(intake.worn.address.lower())
        if view is None:
            continue
        view.phase, view.battery_percent = PHASES[intake.phase], intake.battery_percent
        view.text = str(intake.obstacle) if intake.obstacle else None
        stream = by_segment.get(intake.worn.segment)
        if stream is not None:
            view.rate_hz, view.lost = stream.rate_hz, stream.lost
            view.clock_u_ms = stream.clock_u_ms
