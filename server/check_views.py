"""Sync checks and scale checks as they go out."""

from __future__ import annotations

import math
from typing import Literal

from sensors.wire import SegmentName
from server.models import StoredSyncCheck
from server.scale_checks import Found, Standing
from server.store.scales import ScaleInForce
from server.views import View


class SyncCheckView(View):
    """What came of a sync check; its offset is added to the upper back's times.

    offset_ms, u_ms (one standard uncertainty): null where the two cannot be compared. applied: the
    collector's clock takes it from now on.
    """

    verdict: Literal["good", "too_short", "too_little_motion", "not_held_together", "not_sharp"]
    good: bool
    text: str
    offset_ms: float | None
    u_ms: float | None
    correlation: float | None
    applied: bool


class StoredSyncCheckView(View):
    """A good sync check as it is kept. Times in s of session time.

    applied: null while the collector has not answered; applied_from_s: from when on, else null.
    """

    start_s: float
    end_s: float
    offset_ms: float
    u_ms: float
    correlation: float
    applied: bool | None
    applied_from_s: float | None

    @classmethod
    def of(cls, check: StoredSyncCheck) -> StoredSyncCheckView:
        """View of a stored check."""
        return cls(
            start_s=check.start_s,
            end_s=check.end_s,
            offset_ms=check.offset_s * 1e3,
            u_ms=check.u_s * 1e3,
            correlation=check.correlation,
            applied=check.applied,
            applied_from_s=check.applied_from_s,
        )


class FixingView(View):
    """What holds each sensor; null: nobody said."""

    pelvis: Literal["strapped", "rigid"] | None
    upper_back: Literal["strapped", "rigid"] | None


class _ScaleView(View):
    """How far the scale check of a worn sensor has come, in words too.

    sets: axes that it has sets about in this session. factors: what its rates about x, y, z are
    multiplied by, u: one standard uncertainty of each; null until done.
    """

    segment: SegmentName
    sets: list[Literal["x", "y", "z"]]
    done: bool
    text: str
    factors: list[float] | None
    u: list[float] | None


class ScaleCheckView(_ScaleView):
    """What a set of whole turns about an axis showed; done: there are sets about all three."""

    axis: Literal["x", "y", "z"]

    @classmethod
    def of(cls, segment: SegmentName, found: Found) -> ScaleCheckView:
        """View of what a check found."""
        known = found.factors
        return cls.model_validate(
            {
                "segment": segment,
                "axis": found.axis,
                "sets": found.sets,
                "done": known is not None,
                "text": found.text,
                "factors": None if known is None else known.factors.tolist(),
                "u": None if known is None else known.u.tolist(),
            }
        )


class ScaleStandingView(_ScaleView):
    """What there is of sets; done: the sensor's scale is known, from here or an earlier check."""

    @classmethod
    def of(cls, one: Standing) -> ScaleStandingView:
        """View of a sensor's standing."""
        known = one.in_force
        return cls.model_validate(
            {
                "segment": one.segment,
                "sets": one.sets,
                "done": known is not None,
                "text": one.text,
                "factors": None if known is None else known.factors,
                "u": None if known is None else known.u,
            }
        )


class ScaleInForceView(View):
    """Factors that hold for a segment's gyro from a session time on, s; null: from the start."""

    segment: SegmentName
    from_s: float | None
    factors: list[float]
    u: list[float]

    @classmethod
    def of(cls, scale: ScaleInForce) -> ScaleInForceView:
        """View of what the store says; of known factors."""
        return cls.model_validate(
            {
                "segment": scale.segment,
                "from_s": scale.from_s if math.isfinite(scale.from_s) else None,
                "factors": scale.factors,
                "u": scale.u,
            }
        )
