"""A recording through the same analysis as the live stream: no database, no service."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.errors import CalibrationError
from analysis.results import Calibration, Fixing, GolferFacts, Handedness, Sex, Swing
from analysis.samples import RateSample, SampleTable, Segment
from analysis.session import analyse_session
from sensors.bids_participants import Wearer
from sensors.recording import Recording, SensorRecording
from sensors.wire import Mark
from server.calibrating import pairs, repeated_calibration
from server.fixing import SAID


@dataclass(frozen=True, slots=True)
class RecordingAnalysis:
    """What a recording says. calibrated_by: the stand and bow of each calibration in its place.

    notes: what to know of the numbers, in sentences.
    """

    recording: Recording
    golfer: GolferFacts
    calibrations: tuple[Calibration, ...]
    calibrated_by: tuple[tuple[Mark, Mark], ...]
    swings: tuple[Swing, ...]
    notes: tuple[str, ...]


def golfer_facts(wearer: Wearer) -> GolferFacts:
    """What the analysis needs of a wearer; right-handed where it is not known."""
    return GolferFacts(
        handedness=Handedness(wearer.handedness or "right"),
        height_m=wearer.height_m,
        mass_kg=wearer.mass_kg,
        sex=Sex(wearer.sex) if wearer.sex else None,
    )


def sample_table(sensor: SensorRecording) -> SampleTable:
    """Samples of one sensor. Raises SampleError."""
    kind = RateSample.of(sensor.rate_sample)
    return SampleTable(sensor.time_s, sensor.gyro, sensor.accel, 0.0, kind)


def held_by(recording: Recording, fixing: Fixing | None) -> Recording:
    """The recording with what held both sensors; None: as it says itself."""
    if fixing is None:
        return recording
    pelvis, upper_back = (
        replace(one, fixing=SAID[fixing]) for one in (recording.pelvis, recording.upper_back)
    )
    return replace(recording, pelvis=pelvis, upper_back=upper_back)


def analyse_recording(recording: Recording, golfer: GolferFacts | None = None) -> RecordingAnalysis:
    """Calibrate from the recording's stand and bow, then find and analyse its swings.

    golfer: overrides what the recording says of its wearer. A stand and bow that no mounting can
    be read from becomes a note, and the sensors count as worn in segment axes until the next.
    Raises SampleError.
    """
    pelvis, upper_back = sample_table(recording.pelvis), sample_table(recording.upper_back)
    facts = golfer if golfer is not None else golfer_facts(recording.wearer)
    notes = list(recording.notes)
    if golfer is None and recording.wearer.handedness is None:
        notes.append("handedness is not stated; taken as right-handed (--handedness left if not)")
    fixings = [Fixing.of(one.fixing) for one in (recording.pelvis, recording.upper_back)]
    calibrations, calibrated_by = [], []
    tables = {Segment.PELVIS: pelvis, Segment.UPPER_BACK: upper_back}
    found = pairs(recording.marks)
    for number, pair in enumerate(found):
        try:
            read = repeated_calibration(
                lambda segment, *ends: tables[segment].between(*ends), pair, found[:number]
            )
            calibrations.append(read.fixed(*fixings))
            calibrated_by.append(pair)
        except CalibrationError as error:
            notes.append(f"calibration at {pair[0].start_s:.1f} s: {error}")
    swings = analyse_session(pelvis, upper_back, calibrations, facts)
    return RecordingAnalysis(
        recording, facts, tuple(calibrations), tuple(calibrated_by), tuple(swings), tuple(notes)
    )
