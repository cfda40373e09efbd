"""What is checked in a session beside its swings: calibration, clocks, scale of the gyros."""

from __future__ import annotations

import math
from http import HTTPStatus
from typing import Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from analysis.results import Fixing
from server.api.dependencies import ServiceOf, SessionId
from server.calibrating import verdict
from server.check_views import (
    FixingView,
    ScaleCheckView,
    ScaleInForceView,
    ScaleStandingView,
    StoredSyncCheckView,
    SyncCheckView,
)
from server.errors import ConflictError
from server.fixing import SAID
from server.problems import declared
from server.reanalyse import store_again
from server.scale_checks import make_scale_check, standing
from server.sync_checks import known_ms, make_sync_check
from server.views import CalibrationView

router = APIRouter(prefix="/api/sessions", tags=["sessions"], responses=declared())

NOT_FOUND = declared(HTTPStatus.NOT_FOUND)
CONFLICT = declared(HTTPStatus.NOT_FOUND, HTTPStatus.BAD_REQUEST, HTTPStatus.CONFLICT)


class SyncCheckInput(BaseModel):
    """The last so many seconds: both sensors held together and twisted to and fro."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    seconds: float = Field(ge=2.0, le=30.0)


class ScaleCheckInput(BaseModel):
    """The last so many seconds: a sensor at rest, turned so many whole turns, at rest again."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    segment: Literal["pelvis", "upper_back"]
    turns: int = Field(ge=1, le=20)
    seconds: float = Field(ge=4.0, le=120.0)


class FixingInput(BaseModel):
    """What held each sensor: strapped (a strap over skin and cloth) or rigid; null: not known."""

    model_config = ConfigDict(extra="forbid")

    pelvis: Literal["strapped", "rigid"] | None
    upper_back: Literal["strapped", "rigid"] | None


@router.get("/{session_id}/calibration", responses=CONFLICT)
def session_calibration(session_id: SessionId, service: ServiceOf) -> CalibrationView:
    """The calibration in force for what comes next; refused while there is none."""
    service.store.sessions.get(session_id)
    newest = service.store.swings.newest_calibration(session_id)
    if newest is None:
        raise ConflictError(
            "This session has no calibration yet: stand still for three seconds, then bow."
        )
    return CalibrationView(
        calibrated=newest.calibrated, text=verdict(newest), repeats=newest.repeats
    )


@router.get("/{session_id}/sync-checks", responses=NOT_FOUND)
def sync_checks(session_id: SessionId, service: ServiceOf) -> list[StoredSyncCheckView]:
    """The good sync checks of a session, in the order in which they were made."""
    return [StoredSyncCheckView.of(one) for one in service.store.sync_checks.of(session_id)]


@router.post("/{session_id}/sync-check", responses=CONFLICT)
async def check_sync(
    session_id: SessionId, how: SyncCheckInput, service: ServiceOf
) -> SyncCheckView:
    """How far the sensors' clocks are apart, from the last seconds of one common twist.

    A good check is kept and brings the clocks together from then on.
    """
    found = await make_sync_check(service, session_id, how.seconds)
    offset_ms, u_ms = known_ms(found.check)
    correlation = found.check.correlation
    return SyncCheckView(
        verdict=found.check.verdict.value,
        good=found.check.good,
        text=found.text,
        offset_ms=offset_ms,
        u_ms=u_ms,
        correlation=correlation if math.isfinite(correlation) else None,
        applied=bool(found.applied),
    )


@router.get("/{session_id}/fixing", responses=NOT_FOUND)
def session_fixing(session_id: SessionId, service: ServiceOf) -> FixingView:
    """What holds the sensors of a session."""
    service.store.sessions.get(session_id)
    pelvis, upper_back = service.store.fixings.of(session_id)
    return FixingView(pelvis=SAID[pelvis], upper_back=SAID[upper_back])


@router.put("/{session_id}/fixing", responses=CONFLICT)
def put_fixing_right(session_id: SessionId, held: FixingInput, service: ServiceOf) -> FixingView:
    """Say what held the sensors of an ended session; its swings are then analysed again."""
    service.store.fixings.put_right(session_id, Fixing.of(held.pelvis), Fixing.of(held.upper_back))
    store_again(service.store, session_id)
    return FixingView(pelvis=held.pelvis, upper_back=held.upper_back)


@router.get("/{session_id}/scales", responses=NOT_FOUND)
def scales(session_id: SessionId, service: ServiceOf) -> list[ScaleInForceView]:
    """What the gyros' rates of a session are multiplied by before anything else."""
    service.store.sessions.get(session_id)
    found = service.store.scales.of_session(session_id)
    return [ScaleInForceView.of(one) for one in found if one.factors is not None]


@router.get("/{session_id}/scale-check", responses=NOT_FOUND)
def scale_check_so_far(session_id: SessionId, service: ServiceOf) -> list[ScaleStandingView]:
    """How far the scale check of each sensor has come: what is done, what is missing."""
    return [ScaleStandingView.of(one) for one in standing(service, session_id)]


@router.post("/{session_id}/scale-check", responses=CONFLICT)
async def check_scale(
    session_id: SessionId, how: ScaleCheckInput, service: ServiceOf
) -> ScaleCheckView:
    """Whole turns of one sensor about one of its axes; a set about each gives its scale.

    The scale is then put right from now on, and in later sessions of this sensor.
    """
    found = await make_scale_check(
        service, session_id, how.segment, turns=how.turns, seconds=how.seconds
    )
    return ScaleCheckView.of(how.segment, found)
