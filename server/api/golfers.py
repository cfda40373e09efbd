"""Golfers."""

from __future__ import annotations

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from analysis.results import Handedness, Sex
from server.api.dependencies import GolferId, ServiceOf
from server.problems import declared
from server.store import NewGolfer
from server.views import GolferView

router = APIRouter(prefix="/api/golfers", tags=["golfers"], responses=declared())

Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


class GolferInput(BaseModel):
    """A golfer to be added. Height and mass serve estimates of power only."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    name: Name
    handedness: Handedness = Handedness.RIGHT
    birth_year: int | None = Field(None, ge=1900, le=2100)
    height_m: float | None = Field(None, ge=0.5, le=2.6)
    mass_kg: float | None = Field(None, ge=10.0, le=350.0)
    sex: Sex | None = Field(None, description="For the table of segment inertias only.")


@router.get("")
def list_golfers(service: ServiceOf) -> list[GolferView]:
    """Every golfer, by name."""
    return [GolferView.of(golfer) for golfer in service.store.golfers.all()]


@router.post("", status_code=HTTPStatus.CREATED, responses=declared(HTTPStatus.BAD_REQUEST))
def add_golfer(golfer: GolferInput, service: ServiceOf) -> GolferView:
    """Add a golfer."""
    new = NewGolfer(**golfer.model_dump())
    return GolferView.of(service.store.golfers.add(new, service.clock.now()))


@router.get("/{golfer_id}", responses=declared(HTTPStatus.NOT_FOUND))
def get_golfer(golfer_id: GolferId, service: ServiceOf) -> GolferView:
    """One golfer."""
    return GolferView.of(service.store.golfers.get(golfer_id))
