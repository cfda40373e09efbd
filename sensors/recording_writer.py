"""Recordings written as a Motion-BIDS data set (BIDS 1.10) that the official validator passes.

A data set is written into a hidden folder beside its place and renamed when it is whole, so a
crash or a full disk never leaves half a data set under the name that was asked for.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import msgspec
import numpy as np

from sensors.bids_files import TRACKING_SYSTEMS, entities_of
from sensors.bids_text import MISSING
from sensors.errors import RecordingError
from sensors.recording import Recording, SensorRecording
from sensors.units import ACCELERATION_UNITS, ANGULAR_VELOCITY_UNITS
from sensors.wire import SegmentName

BIDS_VERSION: Final = "1.10.0"
_ROWS_PER_WRITE: Final = 20_000


@dataclass(frozen=True, slots=True)
class ValueFormat:
    """Units and digits of the values in motion.tsv.

    decimals None: as many digits as bring every time and value back to the bit, in SI units.
    """

    gyro_unit: str = "rad/s"
    accel_unit: str = "m/s^2"
    time_decimals: int | None = None
    gyro_decimals: int | None = None
    accel_decimals: int | None = None


EXACT: Final = ValueFormat()
SHORT: Final = ValueFormat("deg/s", "g", time_decimals=4, gyro_decimals=2, accel_decimals=4)
"""deg/s to 0.01 and g to 0.0001, a fifth of the last digit of a 2000 deg/s, 16 g sensor."""


@dataclass(frozen=True, slots=True)
class DatasetFacts:
    """What dataset_description.json and README.md say of the data set as a whole."""

    name: str
    authors: tuple[str, ...]
    readme: str
    license: str = ""


def write_recording(
    path: Path,
    recordings: Recording | Sequence[Recording],
    facts: DatasetFacts,
    *,
    values: ValueFormat = EXACT,
    progress: Callable[[float], None] | None = None,
) -> Path:
    """Write one or several recordings as a data set at `path` and return it.

    path: does not exist yet, or is an empty folder. progress: told the fraction written.

    Raises RecordingError: something is there already, a name that BIDS does not allow, two
    recordings of one name, no room on the disk. Whatever it raises, `path` is as it was before.
    """
    several = [recordings] if isinstance(recordings, Recording) else list(recordings)
    path = Path(path)
    _check_names(several, path)
    if path.exists() and not (path.is_dir() and not any(path.iterdir())):
        raise RecordingError("is there already; name a folder that does not exist yet", path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{path.name}.", dir=path.parent))
    except OSError as error:
        raise RecordingError(f"cannot be written: {error.strerror or error}", path) from error
    try:
        _write_dataset(draft, several, facts, values, progress)
        draft.chmod(0o755)
        if path.exists():
            path.rmdir()
        draft.rename(path)
    except OSError as error:
        raise RecordingError(f"cannot be written: {error.strerror or error}", path) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return path


def _check_names(recordings: Sequence[Recording], path: Path) -> None:
    if not recordings:
        raise RecordingError("there is no recording to write", path)
    names = [recording.name for recording in recordings]
    if len(set(names)) != len(names):
        raise RecordingError("two recordings of one name cannot stand in one data set", path)
    for recording in recordings:
        entities = entities_of(recording.name)
        labels = "".join(entities.values())
        if not {"sub", "task"} <= entities.keys() or not (labels.isascii() and labels.isalnum()):
            raise RecordingError(
                f"{recording.name!r} is no name for a recording; expected entities such as "
                "sub-01_ses-01_task-swing with letters and digits only",
                path,
            )


def _write_dataset(
    root: Path,
    recordings: Sequence[Recording],
    facts: DatasetFacts,
    values: ValueFormat,
    progress: Callable[[float], None] | None,
) -> None:
    _write_json(root / "dataset_description.json", _description(facts))
    _write_text(root / "README.md", facts.readme.rstrip("\n") + "\n")
    _write_participants(root, recordings)
    total = sum(len(s.time_s) for r in recordings for s in (r.pelvis, r.upper_back))
    done = 0
    for recording in recordings:
        entities = entities_of(recording.name)
        folder = root / f"sub-{entities['sub']}"
        folder = folder / f"ses-{entities['ses']}" if "ses" in entities else folder
        folder /= "motion"
        folder.mkdir(parents=True)
        for sensor in (recording.pelvis, recording.upper_back):
            stem = f"{recording.name}_tracksys-{TRACKING_SYSTEMS[sensor.segment]}"
            _write_json(folder / f"{stem}_motion.json", _motion_json(recording, sensor))
            _write_rows(folder / f"{stem}_channels.tsv", _channels(sensor.segment, values))
            for rows in _write_samples(folder / f"{stem}_motion.tsv", sensor, values):
                done += rows
                if progress is not None:
                    progress(done / total)
        _write_events(folder, recording, values)


def _description(facts: DatasetFacts) -> dict[str, object]:
    return {
        "Name": facts.name,
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "raw",
        "Authors": list(facts.authors),
        **({"License": facts.license} if facts.license else {}),
        "GeneratedBy": [{"Name": "torsolog"}],
    }


def _write_participants(root: Path, recordings: Iterable[Recording]) -> None:
    wearers = {f"sub-{entities_of(r.name)['sub']}": r.wearer for r in recordings}
    rows: list[tuple[object, ...]] = [("participant_id", "handedness", "sex", "height", "weight")]
    for participant, wearer in wearers.items():
        facts = (wearer.handedness, wearer.sex, wearer.height_m, wearer.mass_kg)
        rows.append((participant, *(MISSING if fact is None else fact for fact in facts)))
    _write_rows(root / "participants.tsv", rows)
    described = {
        "handedness": {
            "Description": "the side the golfer plays from",
            "Levels": {"right": "right-handed player", "left": "left-handed player"},
        },
        "sex": {
            "Description": "sex, for tables of body segment inertias",
            "Levels": {"male": "male", "female": "female"},
        },
        "height": {"Description": "standing height", "Units": "m"},
        "weight": {"Description": "body mass", "Units": "kg"},
    }
    _write_json(root / "participants.json", described)


def _motion_json(recording: Recording, sensor: SensorRecording) -> dict[str, object]:
    time_s = sensor.time_s
    duration_s = float(time_s[-1] - time_s[0])
    part = sensor.segment.replace("_", " ")
    stated = {
        "GyroscopeRange": sensor.gyro_range_dps,
        "AccelerometerRange": sensor.accel_range_g,
        "GyroscopeSample": sensor.rate_sample,
        "SensorFixing": sensor.fixing,
    }
    return {
        "TaskName": recording.task,
        "TaskDescription": "golf swings with two body-worn inertial sensors",
        "SamplingFrequency": sensor.rate_hz,
        "SamplingFrequencyEffective": (len(time_s) - 1) / duration_s,
        "TrackingSystemName": TRACKING_SYSTEMS[sensor.segment],
        "ManufacturersModelName": sensor.sensor or MISSING,
        "RecordingType": "continuous",
        "RecordingDuration": duration_s,
        "TrackedPointsCount": 1,
        "MotionChannelCount": 7,
        "ACCELChannelCount": 3,
        "GYROChannelCount": 3,
        "LATENCYChannelCount": 1,
        "MissingValues": "a sample that was not received has no line",
        "SensorPlacement": f"{part}, axes of the sensor itself",
        **{key: fact for key, fact in stated.items() if fact is not None},
    }


def _channels(segment: SegmentName, values: ValueFormat) -> list[tuple[object, ...]]:
    point = TRACKING_SYSTEMS[segment]
    rows: list[tuple[object, ...]] = [
        ("name", "component", "type", "tracked_point", "units"),
        ("latency", MISSING, "LATENCY", MISSING, "s"),
    ]
    for kind, unit in (("gyro", values.gyro_unit), ("accel", values.accel_unit)):
        rows += [(f"{kind}_{axis}", axis, kind.upper(), point, unit) for axis in "xyz"]
    return rows


def _write_samples(path: Path, sensor: SensorRecording, values: ValueFormat) -> Iterable[int]:
    """Write motion.tsv a stretch at a time; yields the rows of each stretch."""
    line = "\t".join(
        [_number_format(values.time_decimals, digits=17)]
        + [_number_format(values.gyro_decimals, digits=9)] * 3
        + [_number_format(values.accel_decimals, digits=9)] * 3
    )
    gyro_factor = ANGULAR_VELOCITY_UNITS[values.gyro_unit]
    accel_factor = ACCELERATION_UNITS[values.accel_unit]
    with path.open("w", encoding="utf-8", newline="\n") as file:
        for first in range(0, len(sensor.time_s), _ROWS_PER_WRITE):
            part = slice(first, first + _ROWS_PER_WRITE)
            rows = np.column_stack(
                (
                    sensor.time_s[part],
                    sensor.gyro[part] / gyro_factor,
                    sensor.accel[part] / accel_factor,
                )
            )
            file.write("".join(line % tuple(row) + "\n" for row in rows.tolist()))
            yield len(rows)
        _to_disk(file.fileno(), file.flush)


def _number_format(decimals: int | None, *, digits: int) -> str:
    """9 digits bring every float32 back, 17 every float64 (IEEE 754-2019, 5.12.2)."""
    return f"%.{digits}g" if decimals is None else f"%.{decimals}f"


def _write_events(folder: Path, recording: Recording, values: ValueFormat) -> None:
    rows: list[tuple[object, ...]] = [("onset", "duration", "trial_type")]
    time = _number_format(values.time_decimals, digits=17)
    rows += [(time % m.start_s, time % (m.end_s - m.start_s), m.kind) for m in recording.marks]
    described = {
        "onset": {"Description": "start, on the time line of the LATENCY channels", "Units": "s"},
        "duration": {"Description": "length of the stretch", "Units": "s"},
        "trial_type": {
            "Description": "what the golfer did in that stretch",
            "Levels": {
                "stand": "stood still and upright, for the mounting calibration",
                "bow": "bowed forward and came up, for the mounting calibration",
                "sync": "both sensors held together and turned, for the clocks",
            },
        },
    }
    _write_rows(folder / f"{recording.name}_events.tsv", rows)
    _write_json(folder / f"{recording.name}_events.json", described)


def _write_rows(path: Path, rows: Iterable[Iterable[object]]) -> None:
    _write_text(path, "".join("\t".join(str(cell) for cell in row) + "\n" for row in rows))


def _write_json(path: Path, content: dict[str, object]) -> None:
    _write_text(path, msgspec.json.format(msgspec.json.encode(content), indent=2).decode() + "\n")


def _write_text(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text)
        _to_disk(file.fileno(), file.flush)


def _to_disk(descriptor: int, flush: Callable[[], None]) -> None:
    """Through to the disk: the rename that follows must not outrun the content."""
    flush()
    os.fsync(descriptor)
