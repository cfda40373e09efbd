"""What held the sensors of a session, as streams and calibrations have it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select, update

from analysis.results import Fixing
from server.errors import ConflictError, NotFoundError
from server.fixing import SAID
from server.models import RangeSession, SensorStream, StoredCalibration
from server.store.database import Database


class FixingStore:
    """Read for the next calibration; may be put right once a session has ended."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, session_id: str) -> tuple[Fixing, Fixing]:
        """What holds pelvis and upper-back sensor, by the streams declared last."""
        query = (
            select(SensorStream.segment, SensorStream.fixing)
            .where(SensorStream.session_id == session_id)
            .order_by(SensorStream.declared_at, SensorStream.id)
        )
        with self._database.read() as session:
            said = {row.segment: row.fixing for row in session.execute(query)}
        return Fixing.of(said.get("pelvis")), Fixing.of(said.get("upper_back"))

    def put_right(self, session_id: str, pelvis: Fixing, upper_back: Fixing) -> None:
        """Say of every stream and calibration of an ended session what held the sensors.

        The swings are to be analysed again after it.
        Raises NotFoundError; ConflictError: the session is still open.
        """
        held = {"pelvis": pelvis, "upper_back": upper_back}
        with self._database.write() as session:
            row = session.get(RangeSession, session_id)
            if row is None:
                raise NotFoundError("session", session_id)
            if row.ended_at is None:
                raise ConflictError(
                    "The session is still open: end it, then say what held the sensors."
                )
            for segment, fixing in held.items():
                session.execute(
                    update(SensorStream)
                    .where(SensorStream.session_id == session_id, SensorStream.segment == segment)
                    .values(fixing=SAID[fixing])
                )
            query = select(StoredCalibration).where(StoredCalibration.session_id == session_id)
            for calibration in session.scalars(query):
                calibration.mountings = _held(calibration.mountings, held)


def _held(mountings: dict[str, Any], held: dict[str, Fixing]) -> dict[str, Any]:
    return {
        segment: {**values, "fixing": held[segment].value} for segment, values in mountings.items()
    }
