"""Calibrations and swings in the store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, delete, func, select

from analysis.results import (
    ANALYSIS_VERSION,
    Calibration,
    Fixing,
    Flag,
    Interval,
    Mounting,
    Swing,
)
from server.errors import NotFoundError
from server.models import Golfer, RangeSession, StoredCalibration, StoredSwing
from server.store.database import Database


@dataclass(frozen=True, slots=True)
class SwingRecord:
    """A stored swing with the session and the golfer it belongs to."""

    swing: Swing
    analysis_version: int
    session: RangeSession
    golfer: Golfer | None

    @property
    def id(self) -> str:
        """Session id and number."""
        return f"{self.session.id}-{self.swing.number}"


class SwingStore:
    """Keeps what the analysis said."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, session_id: str, swing: Swing) -> bool:
        """Keep a swing under its number; False: exactly this is kept already."""
        values = _values(swing)
        with self._database.write() as session:
            row = session.get(StoredSwing, (session_id, swing.number))
            if row is not None and all(
                getattr(row, name) == value for name, value in values.items()
            ):
                return False
            session.merge(swing_row(session_id, swing))
        return True

    def drop_after(self, session_id: str, number: int) -> int:
        """Take out swings with a higher number than `number`; gives how many there were."""
        later = delete(StoredSwing).where(
            StoredSwing.session_id == session_id, StoredSwing.number > number
        )
        with self._database.write() as session:
            count = session.scalar(
                select(func.count())
                .select_from(StoredSwing)
                .where(StoredSwing.session_id == session_id, StoredSwing.number > number)
            )
            session.execute(later)
        return int(count or 0)

    def get(self, session_id: str, number: int) -> SwingRecord:
        """One swing. Raises NotFoundError."""
        found = self._records(StoredSwing.session_id == session_id, StoredSwing.number == number)
        if not found:
            raise NotFoundError("swing", f"{session_id}-{number}")
        return found[0]

    def of_session(self, session_id: str, last: int | None = None) -> list[SwingRecord]:
        """Swings of a session in order, all or the `last` ones."""
        return self._records(StoredSwing.session_id == session_id, last=last)

    def of_golfer(self, golfer_id: str) -> list[SwingRecord]:
        """Every swing of a golfer, by session start and number."""
        return self._records(RangeSession.golfer_id == golfer_id)

    def _records(self, *wanted: ColumnElement[bool], last: int | None = None) -> list[SwingRecord]:
        query = (
            select(StoredSwing, RangeSession, Golfer)
            .join(RangeSession, RangeSession.id == StoredSwing.session_id)
            .outerjoin(Golfer, Golfer.id == RangeSession.golfer_id)
            .where(*wanted)
            .order_by(
                RangeSession.started_at.desc(), RangeSession.id.desc(), StoredSwing.number.desc()
            )
        )
        with self._database.read() as session:
            found = [
                SwingRecord(_swing(row), row.analysis_version, of, golfer)
                for row, of, golfer in session.execute(query if last is None else query.limit(last))
            ]
        return found[::-1]

    def add_calibration(
        self, session_id: str, calibration: Calibration, marks: tuple[int, int] | None = None
    ) -> None:
        """Keep a calibration; `marks`: ids of the stand and the bow it was read from."""
        with self._database.write() as session:
            session.add(calibration_row(session_id, calibration, marks))

    def calibrations(self, session_id: str) -> list[Calibration]:
        """Calibrations of a session in the order in which they come into force."""
        return [_calibration(row) for row in self._calibration_rows(session_id)]

    def newest_calibration(self, session_id: str) -> Calibration | None:
        """The one that comes into force last; None: there is none."""
        rows = self._calibration_rows(session_id)
        return _calibration(rows[-1]) if rows else None

    def calibrated_marks(self, session_id: str) -> set[tuple[int | None, int | None]]:
        """Ids of the stand and bow marks that calibrations were read from."""
        return {(row.stand_mark_id, row.bow_mark_id) for row in self._calibration_rows(session_id)}

    def _calibration_rows(self, session_id: str) -> Sequence[StoredCalibration]:
        query = (
            select(StoredCalibration)
            .where(StoredCalibration.session_id == session_id)
            .order_by(StoredCalibration.from_s, StoredCalibration.id)
        )
        with self._database.read() as session:
            return session.scalars(query).all()


def calibration_row(
    session_id: str, calibration: Calibration, marks: tuple[int, int] | None = None
) -> StoredCalibration:
    """Row of a calibration; see `SwingStore.add_calibration`."""
    stand, bow = marks if marks is not None else (None, None)
    return StoredCalibration(
        session_id=session_id,
        stand_mark_id=stand,
        bow_mark_id=bow,
        from_s=calibration.from_s,
        calibrated=calibration.calibrated,
        mountings={
            "pelvis": _mounting_values(calibration.pelvis),
            "upper_back": _mounting_values(calibration.upper_back),
        },
        flags=_flag_values(calibration.flags),
        repeats=calibration.repeats,
        analysis_version=ANALYSIS_VERSION,
    )


def swing_row(session_id: str, swing: Swing) -> StoredSwing:
    """Row of a swing."""
    return StoredSwing(session_id=session_id, number=swing.number, **_values(swing))


def _flag_values(flags: Sequence[Flag]) -> list[dict[str, Any]]:
    return [{"code": flag.code, "text": flag.text, "spoils": flag.spoils} for flag in flags]


def _mounting_values(mounting: Mounting) -> dict[str, Any]:
    return {
        "rotation": [float(part) for part in mounting.rotation],
        "tilt_u_rad": mounting.tilt_u_rad,
        "heading_u_rad": mounting.heading_u_rad,
        "fixing": mounting.fixing.value,
    }


def _values(swing: Swing) -> dict[str, Any]:
    return {
        "window_start_s": swing.window.start_s,
        "window_end_s": swing.window.end_s,
        "events": dict(swing.events),
        "metrics": dict(swing.metrics),
        "uncertainty": dict(swing.uncertainty),
        "flags": _flag_values(swing.flags),
        "usable": swing.usable,
        "analysis_version": ANALYSIS_VERSION,
    }


def _swing(row: StoredSwing) -> Swing:
    return Swing(
        number=row.number,
        window=Interval(row.window_start_s, row.window_end_s),
        events=row.events,
        metrics=row.metrics,
        uncertainty=row.uncertainty,
        flags=tuple(Flag(**flag) for flag in row.flags),
    )


def _mounting(values: dict[str, Any]) -> Mounting:
    rotation = np.asarray(values["rotation"], dtype=np.float64)
    fixing = Fixing(values.get("fixing", Fixing.UNKNOWN))
    return Mounting(rotation, values["tilt_u_rad"], values["heading_u_rad"], fixing)


def _calibration(row: StoredCalibration) -> Calibration:
    return Calibration(
        pelvis=_mounting(row.mountings["pelvis"]),
        upper_back=_mounting(row.mountings["upper_back"]),
        from_s=row.from_s,
        calibrated=row.calibrated,
        flags=tuple(Flag(**flag) for flag in row.flags),
        repeats=row.repeats,
    )
