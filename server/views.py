"""What goes out as JSON, over REST and over the live channel alike."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from analysis.columns import Column
from analysis.results import Curves
from sensors.wire import SegmentName, StreamState
from server.models import Golfer, Mark
from server.store import SessionSummary, SwingRecord


class View(BaseModel):
    """Root of everything that goes out: no number that JSON cannot hold."""

    model_config = ConfigDict(allow_inf_nan=False, frozen=True)


class HealthView(View):
    """The service is there."""

    status: Literal["ok"] = "ok"
    version: str


class ColumnView(View):
    """A column of the data dictionary."""

    name: str
    unit: str
    label: str
    description: str
    estimate: bool
    decimals: int
    text: bool

    @classmethod
    def of(cls, column: Column) -> ColumnView:
        """View of a column."""
        return cls(
            name=column.name,
            unit=column.unit,
            label=column.label,
            description=column.description,
            estimate=column.estimate,
            decimals=column.decimals,
            text=column.text,
        )


class GolferView(View):
    """A golfer. Height in m, mass in kg."""

    id: str
    name: str
    handedness: Literal["right", "left"]
    birth_year: int | None
    height_m: float | None
    mass_kg: float | None
    sex: Literal["male", "female"] | None
    invented: bool

    @classmethod
    def of(cls, golfer: Golfer) -> GolferView:
        """View of a stored golfer."""
        return cls.model_validate(golfer, from_attributes=True)


class SessionView(View):
    """A range session. `calibrated`: the mountings of the sensors were measured in it."""

    id: str
    golfer_id: str | None
    golfer_name: str | None
    title: str
    started_at: datetime
    ended_at: datetime | None
    open: bool
    swing_count: int
    calibrated: bool
    invented: bool

    @classmethod
    def of(cls, session: SessionSummary) -> SessionView:
        """View of a stored session."""
        return cls.model_validate(session, from_attributes=True)


class WindowView(View):
    """A stretch of session time, s."""

    start_s: float
    end_s: float


class FlagView(View):
    """Something to know of a swing. `spoils`: averages leave the swing out."""

    code: str
    text: str
    spoils: bool


Metric = float | str | None


class SwingView(View):
    """A swing. Events in s of session time; metrics by column name, in the column's unit."""

    id: str
    session_id: str
    number: int
    at: datetime = Field(description="When it was: impact, or the end of the window without one.")
    window: WindowView
    events: dict[str, float]
    metrics: dict[str, Metric]
    uncertainty: dict[str, float] = Field(
        description="One standard uncertainty, in the column's unit."
    )
    flags: list[FlagView]
    usable: bool = Field(description="Whether averages take it.")
    analysis_version: int

    @classmethod
    def of(cls, record: SwingRecord) -> SwingView:
        """View of a stored swing."""
        swing = record.swing
        at_s = swing.events.get("impact_s", swing.window.end_s)
        return cls(
            id=record.id,
            session_id=record.session.id,
            number=swing.number,
            at=record.session.started_at + timedelta(seconds=at_s),
            window=WindowView(start_s=swing.window.start_s, end_s=swing.window.end_s),
            events=swing.events,
            metrics=swing.metrics,
            uncertainty=swing.uncertainty,
            flags=[FlagView(code=f.code, text=f.text, spoils=f.spoils) for f in swing.flags],
            usable=swing.usable,
            analysis_version=record.analysis_version,
        )


class CurvesView(View):
    """A swing against session time, for drawing; angles relative to address."""

    time_s: list[float]
    pelvis_turn_deg: list[float]
    upper_back_turn_deg: list[float]
    separation_deg: list[float]
    joint_separation_deg: list[float]
    pelvis_velocity_dps: list[float]
    upper_back_velocity_dps: list[float]
    events: dict[str, float]

    @classmethod
    def of(cls, curves: Curves, events: dict[str, float]) -> CurvesView:
        """View of curves as the analysis gives them."""
        return cls(
            time_s=curves.time_s.tolist(),
            pelvis_turn_deg=curves.pelvis_turn_deg.tolist(),
            upper_back_turn_deg=curves.upper_back_turn_deg.tolist(),
            separation_deg=curves.separation_deg.tolist(),
            joint_separation_deg=curves.joint_separation_deg.tolist(),
            pelvis_velocity_dps=curves.pelvis_velocity_dps.tolist(),
            upper_back_velocity_dps=curves.upper_back_velocity_dps.tolist(),
            events=events,
        )


class MarkView(View):
    """A mark in a session. Times in s of session time."""

    id: int
    session_id: str
    kind: str
    start_s: float
    end_s: float

    @classmethod
    def of(cls, mark: Mark) -> MarkView:
        """View of a stored mark."""
        return cls.model_validate(mark, from_attributes=True)


class StreamView(View):
    """How a sensor is doing now. last_seen_s: session time of its last sample.

    swapped: the two sensors seem to be worn the wrong way round. sync_offset_ms: by how much a
    sync check has corrected its times; null: not at all.
    """

    stream_id: str
    segment: SegmentName
    sensor: str
    state: StreamState
    rate_hz: float
    lost: int
    last_seen_s: float | None
    battery_percent: int | None
    clock_u_ms: float | None
    swapped: bool = False
    sync_offset_ms: float | None = None


class HelloMessage(View):
    """First on the live channel, and again when a slow reader has to start over."""

    type: Literal["hello"] = "hello"
    session: SessionView | None
    swings: list[SwingView]
    streams: list[StreamView]


class SwingMessage(View):
    """A swing was found, or its numbers changed."""

    type: Literal["swing"] = "swing"
    swing: SwingView


class StatusMessage(View):
    """How the sensors are doing: once a second, and at once when one changes.

    trouble: why the service stores nothing now, in words; null: as far as known it does. late: in
    words that what is shown is behind the sensors; null: it is not.
    """

    type: Literal["status"] = "status"
    streams: list[StreamView]
    trouble: str | None = None
    late: str | None = None


class TraceMessage(View):
    """Newest axial velocities; live values, not those of the swing."""

    type: Literal["trace"] = "trace"
    time_s: list[float]
    pelvis_velocity_dps: list[float]
    upper_back_velocity_dps: list[float]


class CalibrationView(View):
    """What came of a stand and a bow, in words too. repeats: stands and bows that it is made of."""

    calibrated: bool
    text: str
    repeats: int = 1


class CalibrationMessage(CalibrationView):
    """A calibration was read, or could not be."""

    type: Literal["calibration"] = "calibration"


class SessionMessage(View):
    """Another session opened, or this one ended."""

    type: Literal["session"] = "session"
    session: SessionView


LiveMessage = Annotated[
    HelloMessage
    | SwingMessage
    | StatusMessage
    | TraceMessage
    | CalibrationMessage
    | SessionMessage,
    Field(discriminator="type"),
]
