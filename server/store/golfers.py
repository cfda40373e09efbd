"""Golfers in the store."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from analysis.results import GolferFacts, Handedness, Sex
from server.errors import NotFoundError
from server.models import Golfer
from server.store.database import Database


@dataclass(frozen=True, slots=True)
class NewGolfer:
    """A golfer to be kept. Lengths m, mass kg."""

    name: str
    handedness: Handedness = Handedness.RIGHT
    birth_year: int | None = None
    height_m: float | None = None
    mass_kg: float | None = None
    sex: Sex | None = None
    invented: bool = False


class GolferStore:
    """Adds and finds golfers."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, golfer: NewGolfer, created_at: datetime) -> Golfer:
        """Keep a new golfer; gives it with its id."""
        row = golfer_row(golfer, created_at)
        with self._database.write() as session:
            session.add(row)
        return row

    def get(self, golfer_id: str) -> Golfer:
        """The golfer with this id. Raises NotFoundError."""
        with self._database.read() as session:
            row = session.get(Golfer, golfer_id)
        if row is None:
            raise NotFoundError("golfer", golfer_id)
        return row

    def all(self) -> list[Golfer]:
        """Every golfer, by name."""
        with self._database.read() as session:
            return list(session.scalars(select(Golfer).order_by(Golfer.name, Golfer.id)))

    def facts(self, golfer_id: str | None) -> GolferFacts:
        """What the analysis needs to know; the defaults where no golfer is set."""
        if golfer_id is None:
            return GolferFacts()
        row = self.get(golfer_id)
        return GolferFacts(
            handedness=Handedness(row.handedness),
            height_m=row.height_m,
            mass_kg=row.mass_kg,
            sex=Sex(row.sex) if row.sex else None,
        )


def golfer_row(golfer: NewGolfer, created_at: datetime) -> Golfer:
    """A new golfer as its row."""
    return Golfer(
        name=golfer.name,
        handedness=golfer.handedness.value,
        birth_year=golfer.birth_year,
        height_m=golfer.height_m,
        mass_kg=golfer.mass_kg,
        sex=golfer.sex.value if golfer.sex else None,
        invented=golfer.invented,
        created_at=created_at,
    )
