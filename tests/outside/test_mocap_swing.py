"""A real golf swing with optical truth.

Source: CMU Graphics Lab Motion Capture Database (mocap.cs.cmu.edu), subject 63, trial 01, turned
into the signals of two sensors; truth.json beside it holds the definitions of analysis.columns
evaluated on the optical rotations. It was looked at while QUIET_RATE, the search windows and the
constants of analysis.gravity were chosen, so it does not prove them. Its gyro and accelerometer
do not fit each other: gravity carried by the gyro is some 35 degrees off at the top, so either
sensor alone would give another turn.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from analysis.results import GolferFacts, Swing
from analysis.samples import SampleTable
from analysis.session import analyse_session
from sensors.recording import SensorRecording, read_recording

SHARED = Path(os.environ.get("TORSOLOG_SHARED_DATA", Path(__file__).parents[3] / "shared" / "data"))
RECORDING = SHARED / "mocap-swing"

pytestmark = pytest.mark.skipif(
    not RECORDING.is_dir(), reason=f"no recording at {RECORDING}: set TORSOLOG_SHARED_DATA"
)


def table(sensor: SensorRecording) -> SampleTable:
    return SampleTable(sensor.time_s, sensor.gyro, sensor.accel)


@pytest.fixture(scope="module")
def swings() -> list[Swing]:
    recording = read_recording(RECORDING)
    return analyse_session(table(recording.pelvis), table(recording.upper_back), [], GolferFacts())


@pytest.fixture(scope="module")
def truth() -> dict[str, float]:
    return json.loads((RECORDING / "truth.json").read_text("utf-8"))[0]


def test_the_recording_holds_one_swing(swings: list[Swing]):
    assert len(swings) == 1


@pytest.mark.parametrize(
    ("column", "limit"),
    [
        ("pelvis_turn_top_deg", 1.5),
        ("upper_back_turn_top_deg", 1.5),
        ("separation_top_deg", 1.5),
        ("separation_max_deg", 1.5),
        ("joint_separation_top_deg", 2.0),
        ("peak_gap_ms", 5.0),
        ("transition_lead_ms", 25.0),
        ("top_s", 0.025),
    ],
)
def test_angles_and_times_agree_with_the_cameras(
    column: str, limit: float, swings: list[Swing], truth: dict[str, float]
):
    assert swings[0].metrics[column] == pytest.approx(truth[column], abs=limit)


@pytest.mark.parametrize("column", ["pelvis_peak_dps", "upper_back_peak_dps"])
def test_peak_speeds_agree_with_the_cameras(
    column: str, swings: list[Swing], truth: dict[str, float]
):
    assert swings[0].metrics[column] == pytest.approx(truth[column], rel=0.01)


def test_what_is_doubtful_about_this_swing_is_said(swings: list[Swing]):
    """This golfer dwells at the top; the recording has no stand and bow; and its upper back's
    rates do not turn gravity the way its accelerometer sees it turn (by 30 degrees at the top)."""
    codes = {flag.code for flag in swings[0].flags}
    assert codes == {"dwell", "uncalibrated", "gravity_disagrees"}
