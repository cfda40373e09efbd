"""The recording that ships with the project: made by the simulated golfer, and how to make it anew.

    python -m sensors.demo_recording FOLDER

The golfer, the swings and the sensors are invented. One seed, so the files come out the same.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from sensors.bids_participants import Wearer
from sensors.errors import SensorError
from sensors.faults import SensorFaults, Strike
from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedGolfer, SimulatedRangeSession
from sensors.practice_plan import CalibrationPosture, PracticePlan
from sensors.recording import Recording, SensorRecording
from sensors.recording_writer import SHORT, DatasetFacts, write_recording
from sensors.units import STANDARD_GRAVITY_MPS2
from sensors.wire import Mark, SegmentName

NAME: Final = "sub-01_ses-01_task-swing"
SEED: Final = 20
SWINGS: Final = 3
_RANGE_DPS, _RANGE_G = 2000.0, 16.0

GOLFER: Final[SimulatedGolfer] = LONG_TURN_GOLFER
SENSORS: Final[Mapping[SegmentName, SensorFaults]] = {
    "pelvis": SensorFaults(
        mounting=(0.9811, 0.0872, 0.1500, 0.0871),
        place_m=(-0.10, 0.02, 0.0),
        gyro_bias_dps=(0.8, -0.5, 0.3),
        gyro_noise=0.007,
        accel_noise=0.004,
        gyro_range_dps=_RANGE_DPS,
        accel_range=_RANGE_G * STANDARD_GRAVITY_MPS2,
    ),
    "upper_back": SensorFaults(
        mounting=(0.9763, -0.1305, 0.0653, -0.1600),
        place_m=(-0.09, 0.15, 0.01),
        gyro_bias_dps=(-0.4, 0.6, -0.7),
        gyro_noise=0.007,
        accel_noise=0.004,
        gyro_range_dps=_RANGE_DPS,
        accel_range=_RANGE_G * STANDARD_GRAVITY_MPS2,
        strike=Strike(),
    ),
}
"""Two ordinary sensors clipped on askew. Biases and noise as data sheets of consumer parts give."""

README: Final = """\
# An invented range session

One golfer, two body-worn inertial sensors, three swings. Nothing here was measured: the torsolog
simulator made it. The golfer is no real person.

The golfer stands still and bows (the events `stand` and `bow`), which tells how the sensors sit,
then makes three full swings with a little walking and waggling in between. The tracking system
`pelvis` is a sensor over the sacrum, `upperback` one between the shoulder blades; both give angular
velocity and specific force in the sensor's own axes, at 200 Hz.

Made with `python -m sensors.demo_recording FOLDER`.
"""


def record(session: SimulatedRangeSession, name: str, wearer: Wearer) -> Recording:
    """A simulated session as both sensors recorded it, on the session's own time line.

    Raises ValueError for a session without end.
    """
    sensors = {}
    for segment, faults in session.faults.items():
        samples = session.sensor(segment)
        limit = faults.accel_range
        sensors[segment] = SensorRecording(
            segment=segment,
            time_s=samples.time_s,
            gyro=samples.gyro,
            accel=samples.accel,
            rate_hz=faults.rate_hz,
            sensor="simulated sensor",
            gyro_range_dps=faults.gyro_range_dps,
            accel_range_g=None if limit is None else limit / STANDARD_GRAVITY_MPS2,
            rate_sample=faults.rate_sample,
        )
    marks = tuple(Mark(kind=m.kind, start_s=m.start_s, end_s=m.end_s) for m in session.marks)
    return Recording(name, sensors["pelvis"], sensors["upper_back"], marks, wearer)


def demo_session() -> SimulatedRangeSession:
    """The invented session: stand, bow, three swings."""
    calibration = CalibrationPosture((0.8, -0.6), (0.5, 0.4), 1.5)
    plan = PracticePlan(swings=SWINGS, busy=0.25, calibration=calibration)
    return SimulatedRangeSession(plan, SENSORS, SEED, GOLFER)


def write_demo_recording(folder: Path) -> Path:
    """Write the demo recording as a data set at `folder`. Raises RecordingError."""
    wearer = Wearer("01", GOLFER.handedness, GOLFER.height_m, GOLFER.mass_kg, "male")
    facts = DatasetFacts(
        "Invented range session",
        ("torsolog project", "torsolog simulated golfer"),
        README,
        license="CC0-1.0",
    )
    return write_recording(folder, record(demo_session(), NAME, wearer), facts, values=SHORT)


def main(arguments: list[str]) -> int:
    """Write to the one folder named; exit code 2 for anything else, 1 where it cannot be."""
    if len(arguments) != 1 or arguments[0].startswith("-"):
        print("usage: python -m sensors.demo_recording FOLDER", file=sys.stderr)
        return 2
    try:
        print(write_demo_recording(Path(arguments[0])))
    except SensorError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
