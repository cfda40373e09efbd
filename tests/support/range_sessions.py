"""Simulated range sessions with their truth, brought into the shapes that the analysis takes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from analysis.calibration import calibrate
from analysis.results import Calibration, GolferFacts, Handedness, Interval, Swing
from analysis.samples import RateSample, SampleTable
from analysis.segmentation import anchor_s
from analysis.session import analyse_session
from sensors.golfer_simulation import ActivitySpan, SimulatedGolfer, SimulatedRangeSession
from sensors.motion_truth import SwingTruth
from sensors.practice_plan import PracticePlan
from sensors.swing_shape import LONG_TURN_LATE_TRANSITION, SHORT_TURN_EARLY_TRANSITION
from sensors.worn_sensors import imperfect_calibration, worn_sensors

SHAPES = {"long": LONG_TURN_LATE_TRANSITION, "short": SHORT_TURN_EARLY_TRANSITION}


@dataclass(frozen=True)
class RangeSession:
    """Samples, calibration and truth of a simulated session."""

    pelvis: SampleTable
    upper_back: SampleTable
    calibration: Calibration
    golfer: GolferFacts
    truth: tuple[SwingTruth, ...]
    spans: tuple[ActivitySpan, ...]

    def analysed(self) -> list[Swing]:
        """Its swings as the analysis finds them."""
        return analyse_session(self.pelvis, self.upper_back, [self.calibration], self.golfer)


@dataclass(frozen=True)
class Found:
    """Swings paired with their truth, true swings not found, and swings that were none."""

    pairs: tuple[tuple[Swing, SwingTruth], ...]
    missed: tuple[SwingTruth, ...]
    false: tuple[Swing, ...]

    def errors(self, column: str) -> np.ndarray:
        """Computed minus true, (n,), of a metric or event."""
        values = [
            (swing.metrics[column], {**truth.events, **truth.metrics}[column])
            for swing, truth in self.pairs
        ]
        return np.array([float(got) - true for got, true in values])

    def true(self, column: str) -> np.ndarray:
        """True values of a metric or event, (n,)."""
        return np.array([{**truth.events, **truth.metrics}[column] for _, truth in self.pairs])


@lru_cache(maxsize=8)
def range_session(
    seed: int,
    swings: int = 6,
    *,
    shape: str = "long",
    hand: Literal["right", "left"] = "right",
    rate_hz: float = 200.0,
    soft_tissue: bool = False,
    strike: bool = False,
    busy: float = 1.0,
    averages: bool = False,
) -> RangeSession:
    """A session with the faults of ordinary sensors; samples as precise as on the wire."""
    rng = np.random.default_rng(seed)
    golfer = SimulatedGolfer(SHAPES[shape], handedness=hand)
    posture = {"calibration": imperfect_calibration(rng)} if soft_tissue else {}
    worn = worn_sensors(rng, golfer, rate_hz=rate_hz, soft_tissue=soft_tissue, strike=strike)
    simulated = SimulatedRangeSession(
        PracticePlan(swings=swings, busy=busy, **posture),
        {segment: replace(faults, averages=averages) for segment, faults in worn.items()},
        seed,
        golfer,
    )
    pelvis, upper_back = (_table(simulated, segment) for segment in ("pelvis", "upper_back"))
    marks = {mark.kind: Interval(mark.start_s, mark.end_s) for mark in simulated.marks}
    calibration = calibrate(
        pelvis, upper_back, marks["stand"], marks["bow"], from_s=marks["bow"].end_s
    )
    return RangeSession(
        pelvis,
        upper_back,
        calibration,
        GolferFacts(Handedness(hand)),
        tuple(simulated.truth),
        tuple(simulated.spans),
    )


def found(session: RangeSession, swings: list[Swing]) -> Found:
    """Swings against the truth: a pair where the upper back's peaks lie within 0.3 s."""
    pairs, false, taken = [], [], set()
    for swing in swings:
        at_s = anchor_s(swing.window)
        near = [t for t in session.truth if abs(t.events["upper_back_peak_s"] - at_s) < 0.3]
        if near and near[0].number not in taken:
            taken.add(near[0].number)
            pairs.append((swing, near[0]))
        else:
            false.append(swing)
    missed = tuple(t for t in session.truth if t.number not in taken)
    return Found(tuple(pairs), missed, tuple(false))


def _table(
    simulated: SimulatedRangeSession, segment: Literal["pelvis", "upper_back"]
) -> SampleTable:
    samples = simulated.sensor(segment)
    gyro, accel = (
        values.astype(np.float32).astype(np.float64) for values in (samples.gyro, samples.accel)
    )
    kind = RateSample.of(simulated.faults[segment].rate_sample)
    return SampleTable(samples.time_s, gyro, accel, 0.0, kind)
