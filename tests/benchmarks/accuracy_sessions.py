"""Simulated range sessions with every disturbance, analysed and paired with their truth.

Seeds are split: TUNE seeds are for whoever chooses a constant of the analysis, PROVE seeds are
for nothing but the figures that are published. No constant was ever chosen on a PROVE seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.calibration import calibrate
from analysis.pooled_calibration import pooled
from analysis.results import Calibration, Fixing, GolferFacts, Handedness, Interval, Sex, Swing
from analysis.samples import SampleTable
from sensors.faults import SensorFaults
from sensors.golfer_simulation import SimulatedGolfer, SimulatedRangeSession
from sensors.motion_truth import SwingTruth
from sensors.practice_plan import CalibrationPosture, PracticePlan
from sensors.swing_shape import (
    DWELLING_AT_TOP,
    LONG_TURN_LATE_TRANSITION,
    SHORT_TURN_EARLY_TRANSITION,
    SwingShape,
)
from sensors.wire import SegmentName
from sensors.worn_sensors import imperfect_calibration, worn_sensors
from tests.support.range_sessions import Found, RangeSession, found

SEED_SETS = {"tune": 20_000, "prove": 70_000}
"""First seed of each set; a set has 10 000 seeds."""
HANDS: tuple[Literal["right", "left"], ...] = ("right", "left")
TURNING: tuple[SwingShape, ...] = (LONG_TURN_LATE_TRANSITION, SHORT_TURN_EARLY_TRANSITION)
DWELLING: tuple[SwingShape, ...] = (DWELLING_AT_TOP,)

GAP_EVERY_S = 150.0
"""Mean time between holes in each sensor's samples, s, besides lost batches."""
GAP_S = (0.1, 1.0)
BATCH_LOSS = 0.0004
"""Chance that a batch of 20 samples is lost."""
FIRST_GAP_S = 35.0
"""The calibration is over by then."""
SWING_EVERY_S = 25.0
LOST_S = 0.15
"""A swing with a longer hole in it is one that nobody can find for sure."""


@dataclass(frozen=True)
class Wearing:
    """How the sensors are worn and sampled.

    riding: on soft tissue, after an imperfect calibration; else rigidly, after a perfect one.
    fixing: what the analysis is told of it. repeats: stands and bows, each as far off as chance
    has it.
    """

    riding: bool
    rate_hz: float
    fixing: Fixing = Fixing.UNKNOWN
    repeats: int = 1

    @property
    def name(self) -> str:
        """In words."""
        worn = "as people wear them" if self.riding else "rigidly worn"
        told = "" if self.fixing is Fixing.UNKNOWN else f", said to be {self.fixing}"
        often = "" if self.repeats == 1 else f", {self.repeats} stands and bows"
        return f"{worn}, {self.rate_hz:.0f} Hz{told}{often}"


@dataclass(frozen=True)
class MeasuredSession:
    """One session: what was found, and its true swings that fell into a hole of a sensor."""

    session: RangeSession
    found: Found
    holed: frozenset[int]

    @property
    def usable(self) -> list[tuple[Swing, SwingTruth]]:
        """Pairs that averages take."""
        return [(swing, truth) for swing, truth in self.found.pairs if swing.usable]


def measured_sessions(
    wearing: Wearing, shapes: tuple[SwingShape, ...], swings: int, seed_set: str, *, each: int = 2
) -> Iterator[MeasuredSession]:
    """Sessions of one way of wearing sensors, together of at least `swings` swings.

    The first is a long one, with a quarter of all swings; the others have `each`, every one with a
    golfer's hand and sensors of its own, shape by shape.
    """
    lengths = [max(each, swings // 4)]
    while sum(lengths) < swings:
        lengths.append(each)
    for number, length in enumerate(lengths):
        seed = SEED_SETS[seed_set] + number + (5000 if wearing.riding else 0)
        shape = shapes[number % len(shapes)]
        hand = HANDS[number // len(shapes) % 2]
        golfer = SimulatedGolfer(shape, handedness=hand)
        yield measured_session(seed, length, golfer, wearing, strike=number % 3 == 2)


def measured_session(
    seed: int, swings: int, golfer: SimulatedGolfer, wearing: Wearing, *, strike: bool = False
) -> MeasuredSession:
    """One session, simulated, calibrated by its marks and analysed."""
    session, holes = _simulated(seed, swings, golfer, wearing, strike=strike)
    result = found(session, session.analysed())
    holed = frozenset(t.number for t in session.truth if _is_holed(t, holes))
    return MeasuredSession(session, result, holed)


def _simulated(
    seed: int, swings: int, golfer: SimulatedGolfer, wearing: Wearing, *, strike: bool
) -> tuple[RangeSession, list[Interval]]:
    rng = np.random.default_rng(seed)
    faults = worn_sensors(
        rng, golfer, rate_hz=wearing.rate_hz, soft_tissue=wearing.riding, strike=strike
    )
    plan = PracticePlan(swings=swings)
    if wearing.riding:
        plan = replace(plan, calibration=imperfect_calibration(rng))
    faults = {
        segment: replace(sensor, batch_loss=BATCH_LOSS, gaps=_gaps(rng, swings))
        for segment, sensor in faults.items()
    }
    simulated = SimulatedRangeSession(plan, faults, seed, golfer)
    tables = [sample_table(simulated, segment) for segment in ("pelvis", "upper_back")]
    first = _calibration(simulated)
    again = [
        _calibration(_calibration_only(seed + 1_000_000 * k, golfer, faults, wearing, rng))
        for k in range(1, wearing.repeats)
    ]
    worn = pooled([first, *again]).fixed(wearing.fixing, wearing.fixing)
    calibration = replace(worn, from_s=first.from_s)
    facts = GolferFacts(Handedness(golfer.handedness), golfer.height_m, golfer.mass_kg, Sex.MALE)
    session = RangeSession(
        tables[0],
        tables[1],
        calibration,
        facts,
        tuple(simulated.truth),
        tuple(simulated.spans),
    )
    return session, [hole for table in tables for hole in holes(table, LOST_S)]


def _calibration(simulated: SimulatedRangeSession) -> Calibration:
    marks = {mark.kind: Interval(mark.start_s, mark.end_s) for mark in simulated.marks}
    tables = [sample_table(simulated, segment) for segment in ("pelvis", "upper_back")]
    return calibrate(*tables, marks["stand"], marks["bow"], from_s=marks["bow"].end_s)


def _calibration_only(
    seed: int,
    golfer: SimulatedGolfer,
    faults: Mapping[SegmentName, SensorFaults],
    wearing: Wearing,
    rng: np.random.Generator,
) -> SimulatedRangeSession:
    """The same sensors, worn the same way: one more stand and bow, and no swing."""
    posture = imperfect_calibration(rng) if wearing.riding else CalibrationPosture()
    return SimulatedRangeSession(PracticePlan(0, posture), faults, seed, golfer)


def sample_table(simulated: SimulatedRangeSession, segment: SegmentName) -> SampleTable:
    """A sensor's samples, as precise as on the wire, on the time line of a perfect clock."""
    samples = simulated.sensor(segment)
    gyro, accel = (v.astype(np.float32).astype(np.float64) for v in (samples.gyro, samples.accel))
    return SampleTable(samples.time_s, gyro, accel)


def holes(table: SampleTable, longest_s: float) -> list[Interval]:
    """Stretches without samples that are longer than `longest_s`."""
    long = np.flatnonzero(np.diff(table.time_s) > longest_s)
    return [Interval(float(table.time_s[k]), float(table.time_s[k + 1])) for k in long]


def _gaps(rng: np.random.Generator, swings: int) -> tuple[tuple[float, float], ...]:
    length_s = SWING_EVERY_S * swings
    starts = FIRST_GAP_S + length_s * rng.random(rng.poisson(length_s / GAP_EVERY_S))
    return tuple((float(s), float(s + rng.uniform(*GAP_S))) for s in np.sort(starts))


def _is_holed(truth: SwingTruth, lost: list[Interval]) -> bool:
    first_s = truth.events["takeaway_s"]
    last_s = max(truth.events["pelvis_peak_s"], truth.events["upper_back_peak_s"])
    return any(hole.start_s < last_s and hole.end_s > first_s for hole in lost)
