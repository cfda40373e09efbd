"""The simulated golfer as a source of samples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.results import Handedness
from sensors.golfer_simulation import LONG_TURN_GOLFER, SHORT_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.simulated import SimulatedSource
from sensors.worn_sensors import worn_sensors
from server.cli.swing_kind import SwingKind

GOLFERS = {SwingKind.LONG_TURN: LONG_TURN_GOLFER, SwingKind.SHORT_TURN: SHORT_TURN_GOLFER}


def simulated_source(
    swing: SwingKind, handedness: Handedness, swings: int | None, seed: int, speed: float
) -> SimulatedSource:
    """So many swings, or on and on, of a golfer with two ordinary sensors, worn askew."""
    golfer = replace(GOLFERS[swing], handedness=handedness.value)
    faults = worn_sensors(np.random.default_rng((seed, 4)), golfer, strike=True)
    plan = PracticePlan(swings=swings)
    return SimulatedSource(SimulatedRangeSession(plan, faults, seed, golfer), speed=speed)
