"""Short range sessions drawn from the population that the stated uncertainties describe.

Each has a golfer, sensors, a calibration and clocks of its own: sensors as in
`sensors.worn_sensors`, every other pair of them riding on soft tissue; people who stand up to 3
degrees off upright and bow up to 5 degrees off straight; shoulders SQUARE_DEG off square at
address; impact IMPACT_S from the upper back's peak speed (each one standard deviation); sensors of
100 or 200 Hz; clocks off by as much as they say; moments of inertia INERTIA off the tables (one
standard deviation).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.calibration import calibrate
from analysis.power import axial_inertia
from analysis.results import GolferFacts, Handedness, Interval, Sex
from analysis.samples import SampleTable, Segment
from sensors.faults import join_samples
from sensors.golfer_simulation import SessionStretch, SimulatedGolfer, SimulatedRangeSession
from sensors.motion_truth import SwingTruth
from sensors.practice_plan import PracticePlan
from sensors.swing_shape import (
    DWELLING_AT_TOP,
    LONG_TURN_LATE_TRANSITION,
    SHORT_TURN_EARLY_TRANSITION,
    SwingShape,
)
from sensors.wire import SEGMENTS, SegmentName
from sensors.worn_sensors import imperfect_calibration, worn_sensors
from tests.support.range_sessions import RangeSession

SQUARE_DEG = 5.0
IMPACT_S = 0.04
INERTIA = 0.15
CLOCK_U_S = (0.0005, 0.003)
"""The stated standard uncertainty of a sensor's clock lies evenly in between."""
RIDING = 0.5
HANDS: tuple[Literal["right", "left"], ...] = ("right", "left")
SHAPES = (LONG_TURN_LATE_TRANSITION, SHORT_TURN_EARLY_TRANSITION, DWELLING_AT_TOP)


@dataclass(frozen=True, slots=True)
class ShoulderedShape(SwingShape):
    """A swing from an address with the shoulders turned against the hips."""

    open_deg: float = 0.0

    def address(self) -> dict[str, float]:
        """Posture at address, degrees, without the facing."""
        posture = super(ShoulderedShape, self).address()
        return posture | {"upper_back_turn": self.open_deg}


def drawn_session(seed: int, swings: int = 1) -> RangeSession:
    """A session of its own draw, samples as precise as on the wire."""
    rng = np.random.default_rng((seed, 4))
    hand = HANDS[seed % 2]
    golfer = SimulatedGolfer(_shape(rng), handedness=hand)
    faults = worn_sensors(
        rng,
        golfer,
        rate_hz=float(rng.choice((100.0, 200.0))),
        soft_tissue=bool(rng.random() < RIDING),
        strike=bool(rng.random() < 0.25),
    )
    plan = PracticePlan(swings=swings, busy=0.5, calibration=imperfect_calibration(rng))
    stretches = list(SimulatedRangeSession(plan, faults, seed, golfer).stretches())
    pelvis, upper_back = (_table(stretches, name, rng) for name in SEGMENTS)
    marks = {m.kind: Interval(m.start_s, m.end_s) for part in stretches for m in part.marks}
    calibration = calibrate(
        pelvis, upper_back, marks["stand"], marks["bow"], from_s=marks["bow"].end_s
    )
    facts = GolferFacts(Handedness(hand), golfer.height_m, golfer.mass_kg, Sex.MALE)
    truth = tuple(_with_power(part, facts, rng) for part in stretches if part.swing is not None)
    spans = tuple(part.span for part in stretches)
    return RangeSession(pelvis, upper_back, calibration, facts, truth, spans)


def _with_power(
    stretch: SessionStretch, facts: GolferFacts, rng: np.random.Generator
) -> SwingTruth:
    """The swing's truth with the power of a body whose inertia is not quite that of the tables."""
    truth = stretch.swing
    powers = {}
    for segment in SEGMENTS:
        inertia = axial_inertia(Segment(segment), facts) * (1.0 + INERTIA * rng.standard_normal())
        first_s, last_s = (truth.events[f"{segment}_{name}_s"] for name in ("reversal", "peak"))
        state = stretch.motion.segment(segment, np.linspace(first_s, last_s, 2000))
        power = inertia * (state.angular_velocity * state.angular_acceleration)[:, 1].max()
        powers[f"{segment}_peak_power_w"] = float(power)
        powers[f"{segment}_peak_power_w_per_kg"] = float(power / facts.mass_kg)
    return replace(truth, metrics=truth.metrics | powers)


def _shape(rng: np.random.Generator) -> SwingShape:
    shape = SHAPES[rng.integers(len(SHAPES))]
    late_s = float(np.clip(rng.normal(0.0, IMPACT_S), -0.1, 0.1))
    shape = replace(shape, downswing_s=shape.upper_back.rise_s + late_s)
    fields = {name: getattr(shape, name) for name in SwingShape.__dataclass_fields__}
    return ShoulderedShape(**fields, open_deg=float(SQUARE_DEG * rng.standard_normal()))


def _table(
    stretches: list[SessionStretch], segment: SegmentName, rng: np.random.Generator
) -> SampleTable:
    samples = join_samples([part.samples[segment] for part in stretches])
    u_s = float(rng.uniform(*CLOCK_U_S))
    gyro, accel = (v.astype(np.float32).astype(np.float64) for v in (samples.gyro, samples.accel))
    return SampleTable(samples.time_s + u_s * rng.standard_normal(), gyro, accel, u_s)
