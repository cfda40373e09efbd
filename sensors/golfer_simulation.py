"""A simulated golfer on the range: true motion, what two sensors make of it, and the truth.

Made stretch by stretch, one activity at a time, so a session may run for hours; the same plan,
golfer, faults and seed give the same samples to the last bit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np

from sensors import range_movements as movements
from sensors.body_motion import BodyMotion
from sensors.errors import SimulationError
from sensors.faults import SensorFaults, SensorSamples, SimulatedSensor, join_samples
from sensors.motion_truth import SwingTruth, swing_truth
from sensors.movement_score import UPRIGHT, MovementScore
from sensors.practice_plan import Activity, CalibrationPosture, PracticePlan
from sensors.swing_shape import (
    DWELLING_AT_TOP,
    LONG_TURN_LATE_TRANSITION,
    SHORT_TURN_EARLY_TRANSITION,
    SwingShape,
    SwingSpread,
    write_swing,
)
from sensors.wire import SEGMENTS, MarkKind, SegmentName

_MAKES_MOTION, _MAKES_PLAN, _MAKES_SENSOR = 1, 2, 3
"""Which of the independent random streams of a seed."""


@dataclass(frozen=True, slots=True)
class SimulatedGolfer:
    """Who swings, and how.

    height_m, mass_kg: facts for those who ask; height also places the sensors. effort: speed of
    full swings against the shape's own, 0.5 to 1.2. sway_deg: of the trunk at address.
    rehearsal_speed: of rehearsals against full swings, from and to.

    Raises SimulationError for an effort, height or mass that no golfer has.
    """

    shape: SwingShape = LONG_TURN_LATE_TRANSITION
    spread: SwingSpread = field(default_factory=SwingSpread)
    handedness: Literal["right", "left"] = "right"
    height_m: float = 1.78
    mass_kg: float = 78.0
    effort: float = 1.0
    sway_deg: float = 0.15
    rehearsal_speed: tuple[float, float] = (0.22, 0.36)

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("effort", self.effort, 0.5, 1.2),
            ("height_m", self.height_m, 1.0, 2.5),
            ("mass_kg", self.mass_kg, 20.0, 250.0),
        ):
            if not low <= value <= high:
                raise SimulationError(f"{name}: expected {low} to {high}, received {value}")

    @property
    def full_swing(self) -> SwingShape:
        """The swing this golfer means to make."""
        return self.shape.scaled(0.9 + 0.1 * self.effort, self.effort)


DWELLING_GOLFER = SimulatedGolfer(DWELLING_AT_TOP)
LONG_TURN_GOLFER = SimulatedGolfer(LONG_TURN_LATE_TRANSITION)
SHORT_TURN_GOLFER = SimulatedGolfer(SHORT_TURN_EARLY_TRANSITION)


class CalibrationMark(NamedTuple):
    """A stretch of the calibration, session time in s."""

    kind: MarkKind
    start_s: float
    end_s: float


class ActivitySpan(NamedTuple):
    """What the golfer did when, session time in s."""

    activity: Activity
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class SessionStretch:
    """One activity: when, its true motion, both sensors' samples, marks and the swing in it."""

    span: ActivitySpan
    motion: BodyMotion
    samples: Mapping[SegmentName, SensorSamples]
    marks: tuple[CalibrationMark, ...] = ()
    swing: SwingTruth | None = None


class SimulatedRangeSession:
    """A range session of one golfer with two sensors.

    `stretches()` makes it from the start, lazily and as often as wanted; `sensor`, `truth`,
    `marks` and `spans` make the whole of a finite plan once and keep it.
    """

    def __init__(
        self,
        plan: PracticePlan | None = None,
        faults: Mapping[SegmentName, SensorFaults] | None = None,
        seed: int = 0,
        golfer: SimulatedGolfer = LONG_TURN_GOLFER,
    ) -> None:
        self.plan = plan if plan is not None else PracticePlan()
        self.faults = {segment: (faults or {}).get(segment, SensorFaults()) for segment in SEGMENTS}
        self.seed = seed
        self.golfer = golfer
        self._whole: list[SessionStretch] | None = None

    def stretches(self) -> Iterator[SessionStretch]:
        """The session from its start, one activity after another."""
        rng = np.random.default_rng((self.seed, _MAKES_MOTION))
        sensors = {
            segment: SimulatedSensor(
                segment, self.faults[segment], (self.seed, _MAKES_SENSOR, number)
            )
            for number, segment in enumerate(SEGMENTS)
        }
        now_s, posture, number = self.plan.start_s, dict(UPRIGHT), 0
        for activity in self.plan.activities(np.random.default_rng((self.seed, _MAKES_PLAN))):
            score = MovementScore(now_s, posture)
            written = self._write(activity, score, rng)
            motion = score.motion(mirrored=self.golfer.handedness == "left")
            swing = None
            if written.swing is not None:
                number += 1
                swing = swing_truth(motion, number, *written.swing)
            samples = {
                segment: sensor.sample(motion, [swing.events["impact_s"]] if swing else ())
                for segment, sensor in sensors.items()
            }
            span = ActivitySpan(activity, motion.start_s, motion.end_s)
            yield SessionStretch(span, motion, samples, written.marks, swing)
            now_s, posture = motion.end_s, score.posture()

    def _write(
        self, activity: Activity, score: MovementScore, rng: np.random.Generator
    ) -> _Written:
        calibration = self.plan.calibration or CalibrationPosture()
        if activity is Activity.STAND:
            return _Written((CalibrationMark("stand", *movements.stand(score, rng, calibration)),))
        if activity is Activity.BOW:
            return _Written((CalibrationMark("bow", *movements.bow(score, rng, calibration)),))
        if activity is Activity.SWING:
            return _Written(swing=self._full_swing(score, rng, waggles=int(rng.integers(1, 4))))
        if activity is Activity.SECOND_SWING:
            return _Written(swing=self._full_swing(score, rng, waggles=0))
        if activity is Activity.REHEARSE:
            self._rehearse(score, rng)
        elif activity is Activity.WAGGLE:
            self._take_address(score, rng, self.golfer.full_swing)
            movements.waggle(score, rng)
            score.hold(rng.uniform(0.3, 1.0), rng, self.golfer.sway_deg)
        else:
            _SIMPLE[activity](score, rng)
        return _Written()

    def _full_swing(
        self, score: MovementScore, rng: np.random.Generator, *, waggles: int
    ) -> tuple[float, float, float]:
        """Address, waggle, stillness, swing, finish; returns start, end and impact of it, s."""
        shape = self.golfer.spread.vary(self.golfer.full_swing, rng)
        self._take_address(score, rng, shape)
        if waggles:
            movements.waggle(score, rng, times=waggles)
        score.hold(rng.uniform(0.7, 1.6), rng, self.golfer.sway_deg)
        start_s = score.now_s
        impact_s = write_swing(score, shape)
        end_s = score.now_s
        score.hold(rng.uniform(0.5, 1.5), rng, 3.0 * movements.SWAY_DEG)
        movements.go_to(score, movements.relaxed(rng), rng.uniform(1.0, 1.5))
        score.hold(rng.uniform(0.2, 1.0))
        return start_s, end_s, impact_s

    def _take_address(
        self, score: MovementScore, rng: np.random.Generator, shape: SwingShape
    ) -> None:
        facing = self.golfer.spread.facing_deg * rng.standard_normal()
        movements.go_to(
            score, UPRIGHT | shape.address() | {"facing": facing}, rng.uniform(0.9, 1.4)
        )

    def _rehearse(self, score: MovementScore, rng: np.random.Generator) -> None:
        """A half swing without a ball, slower, from a hurried address."""
        shape = self.golfer.spread.vary(self.golfer.full_swing, rng)
        shape = shape.scaled(rng.uniform(0.4, 0.6), rng.uniform(*self.golfer.rehearsal_speed))
        self._take_address(score, rng, shape)
        score.hold(rng.uniform(0.2, 0.8), rng, movements.SWAY_DEG)
        write_swing(score, shape)
        score.hold(rng.uniform(0.2, 0.6))
        movements.go_to(score, movements.relaxed(rng), 1.0)

    def _all(self) -> list[SessionStretch]:
        if self.plan.swings is None:
            raise SimulationError("this plan has no end: take its stretches one by one")
        if self._whole is None:
            self._whole = list(self.stretches())
        return self._whole

    def sensor(self, segment: SegmentName) -> SensorSamples:
        """All samples of one sensor. Raises SimulationError where the plan has no end."""
        return join_samples([stretch.samples[segment] for stretch in self._all()])

    @property
    def truth(self) -> list[SwingTruth]:
        """Every full swing as it was. Raises SimulationError where the plan has no end."""
        return [stretch.swing for stretch in self._all() if stretch.swing is not None]

    @property
    def marks(self) -> list[CalibrationMark]:
        """The calibration's marks. Raises SimulationError where the plan has no end."""
        return [mark for stretch in self._all() for mark in stretch.marks]

    @property
    def spans(self) -> list[ActivitySpan]:
        """What was done when. Raises SimulationError where the plan has no end."""
        return [stretch.span for stretch in self._all()]


@dataclass(frozen=True, slots=True)
class _Written:
    """What an activity left on the score: marks, and start, end and impact of its swing."""

    marks: tuple[CalibrationMark, ...] = ()
    swing: tuple[float, float, float] | None = None


_SIMPLE = {
    Activity.WAIT: movements.wait,
    Activity.WALK: movements.walk,
    Activity.TEE_UP: movements.tee_up,
    Activity.LOOK: movements.look,
    Activity.TALK: movements.talk,
    Activity.PUTT: movements.putt,
    Activity.DRILL: movements.drill,
}
