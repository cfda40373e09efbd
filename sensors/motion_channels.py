"""What the columns of a motion.tsv are: channels.tsv and motion.json of one tracking system."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from sensors.bids_files import RecordingFiles, sidecars
from sensors.bids_text import MISSING, TextTable, read_json, read_table
from sensors.errors import RecordingError
from sensors.units import ACCELERATION_UNITS, ANGULAR_VELOCITY_UNITS, TIME_UNITS
from sensors.wire import Fixing, RateSample, SegmentName

MAX_CHANNELS: Final = 1000
"""Far above the seven of one sensor; guards against a claim."""
MAX_DURATION_S: Final = 7 * 24 * 3600.0
RATE_LIMITS_HZ: Final = (1.0, 10_000.0)
RATE_SAMPLES: Final[tuple[RateSample, ...]] = ("instant", "mean")
FIXINGS: Final[tuple[Fixing, ...]] = ("strapped", "rigid")

Choice = TypeVar("Choice", bound=str)
"""A rate outside is a slip of the pen: body-worn sensors sample at 25 to 2000 Hz."""

_AXES: Final = ("x", "y", "z")


@dataclass(frozen=True, slots=True)
class ChannelLayout:
    """Columns of a motion.tsv, from 0, and the factors from their units to SI.

    time: column of the sample's time, None where there is no LATENCY channel.
    """

    names: tuple[str, ...]
    gyro: tuple[int, int, int]
    accel: tuple[int, int, int]
    time: int | None
    gyro_factor: float
    accel_factor: float
    time_factor: float


@dataclass(frozen=True, slots=True)
class SystemFacts:
    """What motion.json says of a tracking system; None where it says nothing."""

    path: Path | None
    rate_hz: float | None = None
    duration_s: float | None = None
    task: str | None = None
    sensor: str | None = None
    gyro_range_dps: float | None = None
    accel_range_g: float | None = None
    rate_sample: RateSample | None = None
    fixing: Fixing | None = None


def read_channel_layout(files: RecordingFiles, segment: SegmentName) -> ChannelLayout:
    """Where time, gyro and accelerometer stand in the motion.tsv of a segment.

    Raises RecordingError: no channels.tsv, a column or channel missing or there twice, a unit
    that is not known.
    """
    motion = files.motion[segment]
    found = sidecars(files, motion, "channels.tsv")
    if not found:
        expected = motion.name.replace("_motion.tsv", "_channels.tsv")
        raise RecordingError(f"has no channels.tsv beside it; expected {expected}", motion)
    table = read_table(found[-1])
    table.require("name", "component", "type", "units")
    if not 0 < len(table.rows) <= MAX_CHANNELS:
        raise RecordingError(
            f"lists {len(table.rows)} channels; expected 1 to {MAX_CHANNELS}", table.path
        )
    time = _rows_of(table, "LATENCY")
    if len(time) > 1:
        raise RecordingError(
            "lists more than one LATENCY channel; expected one or none", table.path
        )
    gyro, gyro_factor = _triad(table, "GYRO", ANGULAR_VELOCITY_UNITS)
    accel, accel_factor = _triad(table, "ACCEL", ACCELERATION_UNITS)
    return ChannelLayout(
        names=tuple(row["name"] for row in table.rows),
        gyro=gyro,
        accel=accel,
        time=time[0] if time else None,
        gyro_factor=gyro_factor,
        accel_factor=accel_factor,
        time_factor=_factor(table, time[0], TIME_UNITS) if time else 1.0,
    )


def read_system_facts(
    files: RecordingFiles, segment: SegmentName, layout: ChannelLayout
) -> SystemFacts:
    """What motion.json and those above it say, the nearest winning.

    Raises RecordingError for a count that channels.tsv does not bear out, for a rate or a duration
    beyond anything a body-worn sensor records, for a gyro sample or a fixing of unknown kind.
    """
    found = sidecars(files, files.motion[segment], "motion.json")
    if not found:
        return SystemFacts(path=None)
    facts = {key: value for path in found for key, value in read_json(path).items()}
    path = found[-1]
    _check_counts(facts, layout, path)
    rate = _positive(facts, "SamplingFrequencyEffective", path)
    rate = rate if rate is not None else _positive(facts, "SamplingFrequency", path)
    if rate is not None and not RATE_LIMITS_HZ[0] <= rate <= RATE_LIMITS_HZ[1]:
        raise RecordingError(
            f"the sampling frequency is {rate:g} Hz; expected {RATE_LIMITS_HZ[0]:g} to "
            f"{RATE_LIMITS_HZ[1]:g} Hz",
            path,
        )
    duration = _positive(facts, "RecordingDuration", path)
    if duration is not None and duration > MAX_DURATION_S:
        raise RecordingError(
            f"RecordingDuration claims {duration:g} s; expected at most {MAX_DURATION_S:g} s",
            path,
        )
    return SystemFacts(
        path=path,
        rate_hz=rate,
        duration_s=duration,
        task=_text(facts, "TaskName"),
        sensor=_text(facts, "ManufacturersModelName"),
        gyro_range_dps=_positive(facts, "GyroscopeRange", path),
        accel_range_g=_positive(facts, "AccelerometerRange", path),
        rate_sample=_choice(facts, "GyroscopeSample", RATE_SAMPLES, path),
        fixing=_choice(facts, "SensorFixing", FIXINGS, path),
    )


def _rows_of(table: TextTable, kind: str) -> list[int]:
    return [i for i, row in enumerate(table.rows) if row["type"].upper() == kind]


def _triad(
    table: TextTable, kind: str, units: dict[str, float]
) -> tuple[tuple[int, int, int], float]:
    """Columns of the x, y and z channel of a kind, and the factor of their common unit."""
    rows = _rows_of(table, kind)
    columns = []
    for axis in _AXES:
        hits = [i for i in rows if table.rows[i]["component"].lower() == axis]
        if len(hits) != 1:
            count = "none" if not hits else str(len(hits))
            raise RecordingError(
                f"expected one channel of type {kind} with component {axis}, found {count}",
                table.path,
            )
        columns.append(hits[0])
    factors = {_factor(table, i, units) for i in columns}
    if len(factors) > 1:
        raise RecordingError(f"the three {kind} channels must have one unit", table.path)
    return (columns[0], columns[1], columns[2]), factors.pop()


def _factor(table: TextTable, row: int, units: dict[str, float]) -> float:
    unit = table.rows[row]["units"]
    if unit not in units:
        raise RecordingError(
            f"channel {table.rows[row]['name']} is in {unit if unit else MISSING!r}; "
            f"expected one of: {', '.join(units)}",
            table.path,
            line=row + 2,
        )
    return units[unit]


def _check_counts(facts: dict[str, object], layout: ChannelLayout, path: Path) -> None:
    listed = {
        "MotionChannelCount": len(layout.names),
        "GYROChannelCount": 3,
        "ACCELChannelCount": 3,
    }
    listed["LATENCYChannelCount"] = int(layout.time is not None)
    for key, count in listed.items():
        claim = facts.get(key, MISSING)
        if claim not in (MISSING, count):
            raise RecordingError(
                f"{key} claims {str(claim)[:40]}, but channels.tsv lists {count}", path
            )


def _positive(facts: dict[str, object], key: str, path: Path) -> float | None:
    value = facts.get(key, MISSING)
    if value in (MISSING, None):
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
        raise RecordingError(
            f"{key} must be a number above 0 or {MISSING!r}, received {str(value)[:40]!r}", path
        )
    # Whole numbers in JSON have no limit, floats have.
    return float(value) if value < 1e300 else float("inf")


def _choice(
    facts: dict[str, object], key: str, choices: tuple[Choice, ...], path: Path
) -> Choice | None:
    value = facts.get(key, MISSING)
    if value in (MISSING, None):
        return None
    for choice in choices:
        if value == choice:
            return choice
    expected = ", ".join(repr(choice) for choice in choices)
    raise RecordingError(
        f"{key} must be {expected} or {MISSING!r}, received {str(value)[:40]!r}", path
    )


def _text(facts: dict[str, object], key: str) -> str | None:
    value = facts.get(key)
    return value if isinstance(value, str) and value not in ("", MISSING) else None
