"""Two invented golfers and their eight weeks. Nobody here is or was a real person.

The story: one makes speed with a long turn and a late transition and trains the transition, the
other with a short turn and an early one and trains the speed. Sizes of change are our own choice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sensors.faults import SensorFaults, Strike
from sensors.golfer_simulation import (
    LONG_TURN_GOLFER,
    SHORT_TURN_GOLFER,
    SimulatedGolfer,
    SimulatedRangeSession,
)
from sensors.practice_plan import CalibrationPosture, PracticePlan
from sensors.wire import SegmentName

WEEKS = 8
SWINGS_PER_SESSION = 12
BUSY = 0.5
"""Share of the usual movement between swings."""


@dataclass(frozen=True, slots=True)
class DemoGolfer:
    """A golfer of the club. age in years; height and mass are those of the simulated golfer."""

    name: str
    age: int
    sex: str
    golfer: SimulatedGolfer


@dataclass(frozen=True, slots=True)
class DemoSession:
    """A session `days_ago`. speed, lead_s: what training has changed against the first one."""

    golfer: DemoGolfer
    title: str
    days_ago: int
    seed: int
    speed: float = 1.0
    lead_s: float = 0.0

    def simulated(self, swings: int | None = SWINGS_PER_SESSION) -> SimulatedRangeSession:
        """The session as both sensors saw it; `swings` None: without end."""
        shape = self.golfer.golfer.shape
        shape = replace(shape.scaled(1.0, self.speed), lead_s=shape.lead_s + self.lead_s)
        golfer = replace(self.golfer.golfer, shape=shape)
        plan = PracticePlan(swings=swings, busy=BUSY, calibration=CALIBRATION)
        return SimulatedRangeSession(plan, WORN, self.seed, golfer)


CALIBRATION = CalibrationPosture((0.8, -0.6), (0.5, 0.4), 1.5)
"""Nobody stands quite upright or bows quite straight."""

WORN: Mapping[SegmentName, SensorFaults] = {
    "pelvis": SensorFaults(
        mounting=(0.9811, 0.0872, 0.1500, 0.0871),
        place_m=(-0.10, 0.02, 0.0),
        gyro_bias_dps=(0.8, -0.5, 0.3),
        gyro_noise=0.007,
        accel_noise=0.004,
        gyro_range_dps=2000.0,
        accel_range=16 * 9.80665,
    ),
    "upper_back": SensorFaults(
        mounting=(0.9763, -0.1305, 0.0653, -0.1600),
        place_m=(-0.09, 0.15, 0.01),
        gyro_bias_dps=(-0.4, 0.6, -0.7),
        gyro_noise=0.007,
        accel_noise=0.004,
        gyro_range_dps=2000.0,
        accel_range=16 * 9.80665,
        strike=Strike(),
    ),
}
"""Two ordinary sensors, clipped on askew."""

SENIOR = DemoGolfer(
    "Senior player M.", 66, "male", replace(LONG_TURN_GOLFER, height_m=1.76, mass_kg=79.0)
)
JUNIOR = DemoGolfer(
    "Junior player K.",
    19,
    "female",
    replace(SHORT_TURN_GOLFER, handedness="left", height_m=1.69, mass_kg=61.0),
)
GOLFERS = (SENIOR, JUNIOR)

SESSIONS = (
    DemoSession(SENIOR, "Baseline", 56, 101),
    DemoSession(JUNIOR, "Baseline", 54, 102),
    DemoSession(SENIOR, "After four weeks of dissociation drills", 28, 103, 1.02, 0.012),
    DemoSession(JUNIOR, "After four weeks of throws and jumps", 26, 104, 1.03),
    DemoSession(SENIOR, "Retest", 3, 108, 1.04, 0.022),
    DemoSession(JUNIOR, "Retest", 2, 106, 1.06, -0.004),
)
LIVE = DemoSession(SENIOR, "Live: simulated range session", 0, 231, 1.04, 0.022)
