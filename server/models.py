"""The tables. Raw batches are rows: "stored exactly once" is a constraint, not a program."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

ID_LENGTH = 12
ID_PATTERN = rf"^[0-9a-f]{{{ID_LENGTH}}}$"
SWING_ID_PATTERN = rf"^[0-9a-f]{{{ID_LENGTH}}}-[1-9][0-9]{{0,5}}$"
STREAM_ID_MAX = 100

BigId = BigInteger().with_variant(Integer, "sqlite")
"""SQLite counts rows by itself in an INTEGER key only."""


def new_id() -> str:
    """A fresh id: 12 hexadecimal digits, random."""
    return secrets.token_hex(ID_LENGTH // 2)


class UtcDateTime(TypeDecorator[datetime]):
    """Moment in UTC; SQLite keeps no zone, so it is put back on reading."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC; a moment without zone is refused, for it could be any."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs its zone")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """With zone UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """Root of the tables; names of constraints are fixed so that migrations can name them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class Golfer(Base):
    """Who swings. Lengths m, mass kg. `invented`: of a demo, not a person."""

    __tablename__ = "golfers"

    id: Mapped[str] = mapped_column(String(ID_LENGTH), primary_key=True, default=new_id)
    name: Mapped[str] = mapped_column(String(200))
    handedness: Mapped[str] = mapped_column(String(5))
    birth_year: Mapped[int | None]
    height_m: Mapped[float | None] = mapped_column(Float(53))
    mass_kg: Mapped[float | None] = mapped_column(Float(53))
    sex: Mapped[str | None] = mapped_column(String(6))
    invented: Mapped[bool] = mapped_column(Boolean, default=False)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


class RangeSession(Base):
    """One sitting with the sensors on. Session time 0 is `started_at`."""

    __tablename__ = "sessions"
    __table_args__ = (Index(None, "started_at"),)

    id: Mapped[str] = mapped_column(String(ID_LENGTH), primary_key=True, default=new_id)
    golfer_id: Mapped[str | None] = mapped_column(ForeignKey("golfers.id"), index=True)
    title: Mapped[str] = mapped_column(String(200))
    started_at: Mapped[datetime] = mapped_column(UtcDateTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    invented: Mapped[bool] = mapped_column(Boolean, default=False)


class SensorStream(Base):
    """One start of one sensor. Ranges in deg/s and g as the collector stated them.

    rate_sample: what a gyro sample is, 'instant' or 'mean'; null: not stated, taken as 'instant'.
    fixing: what holds the sensor, 'strapped' or 'rigid'; null: not said.
    """

    __tablename__ = "streams"

    id: Mapped[str] = mapped_column(String(STREAM_ID_MAX), primary_key=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"), index=True)
    segment: Mapped[str] = mapped_column(String(20))
    sensor: Mapped[str] = mapped_column(String(200))
    address: Mapped[str | None] = mapped_column(String(200))
    rate_hz: Mapped[float] = mapped_column(Float(53))
    gyro_range_dps: Mapped[float | None] = mapped_column(Float(53))
    accel_range_g: Mapped[float | None] = mapped_column(Float(53))
    tick_s: Mapped[float | None] = mapped_column(Float(53))
    rate_sample: Mapped[str | None] = mapped_column(String(7))
    fixing: Mapped[str | None] = mapped_column(String(8))
    declared_at: Mapped[datetime] = mapped_column(UtcDateTime)


class RawBatch(Base):
    """Samples as they came: the bytes of sensors.wire.SampleBatch, unchanged.

    `id` grows in the order of commits; start_s, end_s: first and last sample, session time, s.
    """

    __tablename__ = "batches"
    __table_args__ = (
        UniqueConstraint("stream_id", "sequence"),
        Index(None, "session_id", "id"),
        Index(None, "session_id", "start_s"),
    )

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"))
    stream_id: Mapped[str] = mapped_column(ForeignKey("streams.id"))
    sequence: Mapped[int] = mapped_column(BigInteger)
    start_s: Mapped[float] = mapped_column(Float(53))
    end_s: Mapped[float] = mapped_column(Float(53))
    samples: Mapped[int] = mapped_column(Integer)
    first_tick: Mapped[int] = mapped_column(BigInteger)
    ticks_per_sample: Mapped[float] = mapped_column(Float(53))
    received_s: Mapped[float] = mapped_column(Float(53))
    time_u_s: Mapped[float] = mapped_column(Float(53))
    lost_before: Mapped[int] = mapped_column(Integer)
    time_s: Mapped[bytes] = mapped_column(LargeBinary)
    gyro: Mapped[bytes] = mapped_column(LargeBinary)
    accel: Mapped[bytes] = mapped_column(LargeBinary)


class Mark(Base):
    """A stretch of session time with a meaning: stand, bow, sync."""

    __tablename__ = "marks"
    __table_args__ = (UniqueConstraint("session_id", "kind", "start_s", "end_s"),)

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    start_s: Mapped[float] = mapped_column(Float(53))
    end_s: Mapped[float] = mapped_column(Float(53))


class Trouble(Base):
    """A stretch in which a sensor did not give what it should.

    kind: silent, slow, lost, gap or swapped. segment: null concerns both sensors. end_s: null
    while it lasts; it then lasts to the end of the session. lost: samples known to be missing.
    """

    __tablename__ = "troubles"

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"), index=True)
    segment: Mapped[str | None] = mapped_column(String(20))
    kind: Mapped[str] = mapped_column(String(20))
    start_s: Mapped[float] = mapped_column(Float(53))
    end_s: Mapped[float | None] = mapped_column(Float(53))
    lost: Mapped[int] = mapped_column(Integer, default=0)


class StoredSyncCheck(Base):
    """How far the clocks of two sensors were apart, s, found from start_s to end_s.

    offset_s is added to the upper back's times. applied: whether the collector's clock took it,
    from applied_from_s of session time on; null while the collector has not answered.
    """

    __tablename__ = "sync_checks"

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"), index=True)
    pelvis_stream_id: Mapped[str] = mapped_column(ForeignKey("streams.id"))
    upper_back_stream_id: Mapped[str] = mapped_column(ForeignKey("streams.id"))
    start_s: Mapped[float] = mapped_column(Float(53))
    end_s: Mapped[float] = mapped_column(Float(53))
    offset_s: Mapped[float] = mapped_column(Float(53))
    u_s: Mapped[float] = mapped_column(Float(53))
    correlation: Mapped[float] = mapped_column(Float(53))
    applied: Mapped[bool | None]
    applied_from_s: Mapped[float | None] = mapped_column(Float(53))


class StoredScaleSet(Base):
    """A sensor turned so many whole turns about one of its axes (x, y or z), then at rest."""

    __tablename__ = "scale_sets"

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    stream_id: Mapped[str] = mapped_column(ForeignKey("streams.id"), index=True)
    start_s: Mapped[float] = mapped_column(Float(53))
    end_s: Mapped[float] = mapped_column(Float(53))
    turns: Mapped[int] = mapped_column(Integer)
    axis: Mapped[str] = mapped_column(String(1))


class StoredScale(Base):
    """Factors [x, y, z] of a sensor's gyro and their standard uncertainties, never changed.

    sensor: its address, or its name where it has none.
    """

    __tablename__ = "scale_factors"

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    sensor: Mapped[str] = mapped_column(String(200), index=True)
    factors: Mapped[list[float]] = mapped_column(JSON)
    u: Mapped[list[float]] = mapped_column(JSON)
    found_at: Mapped[datetime] = mapped_column(UtcDateTime)


class StreamScale(Base):
    """Factors that hold for a stream from `from_s` of session time on; null: from its first sample.

    Of several the one that comes into force last holds.
    """

    __tablename__ = "stream_scales"

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    stream_id: Mapped[str] = mapped_column(ForeignKey("streams.id"), index=True)
    scale_id: Mapped[int] = mapped_column(ForeignKey("scale_factors.id"))
    from_s: Mapped[float | None] = mapped_column(Float(53))


class StoredCalibration(Base):
    """Both mountings, in force from `from_s` of session time on.

    mountings: segment -> {rotation: [w, x, y, z], tilt_u_rad, heading_u_rad}.
    """

    __tablename__ = "calibrations"
    __table_args__ = (UniqueConstraint("stand_mark_id", "bow_mark_id"),)

    id: Mapped[int] = mapped_column(BigId, primary_key=True, autoincrement=True)
    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"), index=True)
    stand_mark_id: Mapped[int | None] = mapped_column(ForeignKey("marks.id"))
    bow_mark_id: Mapped[int | None] = mapped_column(ForeignKey("marks.id"))
    from_s: Mapped[float] = mapped_column(Float(53))
    calibrated: Mapped[bool] = mapped_column(Boolean)
    mountings: Mapped[dict[str, Any]] = mapped_column(JSON)
    flags: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    analysis_version: Mapped[int] = mapped_column(Integer)
    repeats: Mapped[int] = mapped_column(Integer, default=1, server_default="1")


class StoredSwing(Base):
    """What the analysis said of one swing; can be had again from the raw batches, to the bit."""

    __tablename__ = "swings"

    session_id: Mapped[str] = mapped_column(ForeignKey("sessions.id"), primary_key=True)
    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    window_start_s: Mapped[float] = mapped_column(Float(53))
    window_end_s: Mapped[float] = mapped_column(Float(53))
    events: Mapped[dict[str, float]] = mapped_column(JSON)
    metrics: Mapped[dict[str, Any]] = mapped_column(JSON)
    uncertainty: Mapped[dict[str, float]] = mapped_column(JSON)
    flags: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    usable: Mapped[bool] = mapped_column(Boolean)
    analysis_version: Mapped[int] = mapped_column(Integer)
