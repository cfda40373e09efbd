"""What a golfer does on the range between and around swings, as activities in order.

Durations and amplitudes are of our own choosing; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from sensors.errors import SimulationError


class Activity(StrEnum):
    """One thing a golfer does; each begins and ends at rest."""

    STAND = "stand"
    BOW = "bow"
    WALK = "walk"
    TEE_UP = "tee up"
    WAGGLE = "waggle"
    LOOK = "look at the target"
    TALK = "turn to talk"
    REHEARSE = "rehearsal"
    PUTT = "putt"
    DRILL = "drill"
    SWING = "swing"
    SECOND_SWING = "second swing"
    WAIT = "wait"


SWINGS = frozenset({Activity.SWING, Activity.SECOND_SWING})
"""Activities that hold one full swing each."""

BETWEEN_SWINGS: tuple[tuple[Activity, float], ...] = (
    (Activity.WALK, 0.35),
    (Activity.TEE_UP, 0.75),
    (Activity.LOOK, 0.5),
    (Activity.TALK, 0.25),
    (Activity.REHEARSE, 0.35),
    (Activity.DRILL, 0.08),
    (Activity.PUTT, 0.08),
    (Activity.WAIT, 0.3),
    (Activity.WAGGLE, 0.6),
)
"""What may come before a swing, in this order, each with its chance."""

SECOND_SWING_CHANCE = 0.1


@dataclass(frozen=True, slots=True)
class CalibrationPosture:
    """How far the golfer is off in the calibration, degrees, right-hander's signs.

    stand_tilt, stand_bend: of pelvis and upper back while standing. bow_off: how far the bow's
    axis is turned off the golfer's right axis, about the vertical. restless_deg: sway while
    standing. bow_depth: depth of the bow against the usual 43 and 61 degrees.
    """

    stand_tilt_deg: tuple[float, float] = (0.0, 0.0)
    stand_bend_deg: tuple[float, float] = (0.0, 0.0)
    bow_off_deg: float = 0.0
    restless_deg: float = 0.1
    bow_depth: float = 1.0


@dataclass(frozen=True, slots=True)
class PracticePlan:
    """A range session: calibration, then `swings` swings (None: without end).

    busy: how much of the usual movement goes on between swings, 0 none to 1.

    Raises SimulationError for a plan that cannot be.
    """

    swings: int | None = 10
    calibration: CalibrationPosture | None = field(default_factory=CalibrationPosture)
    busy: float = 1.0
    start_s: float = 0.0

    def __post_init__(self) -> None:
        if self.swings is not None and self.swings < 0:
            raise SimulationError(
                f"swings: expected 0 or more, or none set, received {self.swings}"
            )
        if not 0.0 <= self.busy <= 1.0:
            raise SimulationError(f"busy: expected 0 to 1, received {self.busy}")

    def activities(self, rng: np.random.Generator) -> Iterator[Activity]:
        """The activities in order."""
        if self.calibration is not None:
            yield from (Activity.WAIT, Activity.STAND, Activity.BOW)
        done = 0
        while self.swings is None or done < self.swings:
            second = done > 0 and rng.random() < SECOND_SWING_CHANCE * self.busy
            if second:
                yield Activity.SECOND_SWING
            else:
                chances = rng.random(len(BETWEEN_SWINGS))
                for (activity, chance), drawn in zip(BETWEEN_SWINGS, chances, strict=True):
                    if drawn < chance * self.busy:
                        yield activity
                yield Activity.SWING
            done += 1
        yield Activity.WAIT
