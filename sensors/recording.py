"""A recording of the two body-worn sensors, and how it is read from a Motion-BIDS folder.

The standard: Motion-BIDS in BIDS 1.10, https://bids-specification.readthedocs.io/en/v1.10.0/
modality-specific-files/motion.html. What this reader expects of it is told in recordings/README.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from sensors.bids_events import read_marks
from sensors.bids_files import RecordingFiles, choose_recording
from sensors.bids_participants import Wearer, read_wearer
from sensors.bids_scans import start_offsets
from sensors.errors import RecordingError
from sensors.motion_channels import (
    ChannelLayout,
    SystemFacts,
    read_channel_layout,
    read_system_facts,
)
from sensors.motion_table import Progress, motion_file_size, read_motion_table
from sensors.units import STANDARD_GRAVITY_MPS2
from sensors.wire import Fixing, Mark, RateSample, SegmentName

Array = npt.NDArray[np.float64]

GYRO_LIMIT_RADPS: Final = 1000.0
"""57 000 deg/s, ten times beyond any gyro sold for wearing: a value above is a broken one."""
ACCEL_LIMIT_MPS2: Final = 20_000.0
"""2000 g, ten times beyond any accelerometer sold for wearing."""


@dataclass(frozen=True, slots=True)
class SensorRecording:
    """What one sensor recorded, in its own axes.

    time_s (n,) s on the recording's time line, strictly increasing; gyro (n, 3) rad/s and accel
    (n, 3) m/s^2, specific force, float64 holding float32 precision, as on the wire.
    rate_hz: as stated, or the median rate where nothing is stated. Ranges None: not stated.
    rate_sample: what a gyro sample is; None: not stated, taken as "instant". fixing: what holds it.
    """

    segment: SegmentName
    time_s: Array
    gyro: Array
    accel: Array
    rate_hz: float
    sensor: str = ""
    gyro_range_dps: float | None = None
    accel_range_g: float | None = None
    rate_sample: RateSample | None = None
    fixing: Fixing | None = None


@dataclass(frozen=True, slots=True)
class Recording:
    """Both sensors on one time line, the marks, and who wore them.

    name: the entities of its files, such as sub-01_ses-01_task-swing. notes: what a reader of the
    numbers should know and what is no reason to refuse the recording.
    """

    name: str
    pelvis: SensorRecording
    upper_back: SensorRecording
    marks: tuple[Mark, ...] = ()
    wearer: Wearer = field(default_factory=lambda: Wearer("01"))
    task: str = "swing"
    notes: tuple[str, ...] = ()

    @property
    def start_s(self) -> float:
        """Time of the first sample of either sensor."""
        return float(min(self.pelvis.time_s[0], self.upper_back.time_s[0]))

    @property
    def end_s(self) -> float:
        """Time of the last sample of either sensor."""
        return float(max(self.pelvis.time_s[-1], self.upper_back.time_s[-1]))


def read_recording(
    path: Path,
    *,
    name: str | None = None,
    progress: Callable[[float], None] | None = None,
) -> Recording:
    """Read one recording.

    path: the data set's root, a subject or session folder, the motion folder or a motion.tsv.
    name: which one, where several are inside. progress: told the fraction read, 0 to 1.

    Raises RecordingChoice where several are inside and none is named, RecordingError with file,
    line and column for everything that cannot be read as what the standard says.
    """
    files = choose_recording(Path(path), name)
    layouts = {segment: read_channel_layout(files, segment) for segment in files.motion}
    tick = _fraction(files, progress)
    pelvis, pelvis_facts = _read_sensor(files, "pelvis", layouts["pelvis"], tick)
    upper_back, back_facts = _read_sensor(files, "upper_back", layouts["upper_back"], tick)
    offsets = start_offsets(files)
    pelvis, upper_back = _moved(pelvis, offsets), _moved(upper_back, offsets)
    _require_common_time(files, pelvis, upper_back)
    recording = Recording(
        name=files.name,
        pelvis=pelvis,
        upper_back=upper_back,
        wearer=read_wearer(files.root, files.subject),
        task=pelvis_facts.task or back_facts.task or "swing",
        notes=(
            *_notes(pelvis, pelvis_facts),
            *_notes(upper_back, back_facts),
            *_offset_notes(offsets),
        ),
    )
    return replace(recording, marks=read_marks(files, recording.start_s, recording.end_s))


def _fraction(files: RecordingFiles, progress: Callable[[float], None] | None) -> Progress:
    """Bytes read since last told -> fraction of both motion files read."""
    total = sum(motion_file_size(path) for path in files.motion.values())
    done = 0

    def tick(read_bytes: int) -> None:
        nonlocal done
        done += read_bytes
        if progress is not None:
            progress(min(1.0, done / total))

    return tick


def _read_sensor(
    files: RecordingFiles, segment: SegmentName, layout: ChannelLayout, tick: Progress
) -> tuple[SensorRecording, SystemFacts]:
    facts = read_system_facts(files, segment, layout)
    path = files.motion[segment]
    if layout.time is None and facts.rate_hz is None:
        raise RecordingError(
            "has neither a LATENCY channel nor a SamplingFrequency; the samples have no times", path
        )
    used = [*layout.gyro, *layout.accel, *([] if layout.time is None else [layout.time])]
    table = read_motion_table(path, layout.names, used, tick)
    if len(table) < 2:
        raise RecordingError("holds one sample only; expected at least two", path)
    if layout.time is None:
        time_s = np.arange(len(table)) / float(facts.rate_hz or 1.0)
    else:
        time_s = _times(table[:, 6] * layout.time_factor, path)
    sensor = SensorRecording(
        segment=segment,
        time_s=time_s,
        gyro=_values(table[:, 0:3] * layout.gyro_factor, GYRO_LIMIT_RADPS, "gyro, rad/s", path),
        accel=_values(table[:, 3:6] * layout.accel_factor, ACCEL_LIMIT_MPS2, "accel, m/s^2", path),
        rate_hz=facts.rate_hz or float(1.0 / np.median(np.diff(time_s))),
        sensor=facts.sensor or "",
        gyro_range_dps=facts.gyro_range_dps,
        accel_range_g=facts.accel_range_g,
        rate_sample=facts.rate_sample,
        fixing=facts.fixing,
    )
    return sensor, facts


def _times(time_s: Array, path: Path) -> Array:
    """Times as given, refused where one is not after the one before."""
    backwards = np.flatnonzero(np.diff(time_s) <= 0.0)
    if backwards.size:
        row = int(backwards[0]) + 1
        raise RecordingError(
            f"time must increase from line to line, but {time_s[row]:.6f} s is not after "
            f"{time_s[row - 1]:.6f} s",
            path,
            line=row + 1,
        )
    return np.ascontiguousarray(time_s)


def _values(values: Array, limit: float, what: str, path: Path) -> Array:
    """Values at float32 precision, refused beyond `limit`."""
    beyond = np.argwhere(np.abs(values) > limit)
    if beyond.size:
        row, axis = (int(i) for i in beyond[0])
        raise RecordingError(
            f"{what}: {'xyz'[axis]} is {values[row, axis]:.6g}, beyond ±{limit:g}; "
            "check the units in channels.tsv",
            path,
            line=row + 1,
        )
    return values.astype(np.float32).astype(np.float64)


def _moved(sensor: SensorRecording, offsets: dict[SegmentName, float]) -> SensorRecording:
    """The sensor on the common time line, to the bit where its recording began first."""
    offset_s = offsets[sensor.segment]
    return replace(sensor, time_s=sensor.time_s + offset_s) if offset_s else sensor


def _offset_notes(offsets: dict[SegmentName, float]) -> list[str]:
    return [
        f"{segment.replace('_', ' ')}: began {offset_s:g} s after the other sensor by scans.tsv; "
        "its times count from that one's beginning"
        for segment, offset_s in offsets.items()
        if offset_s
    ]


def _require_common_time(
    files: RecordingFiles, pelvis: SensorRecording, upper_back: SensorRecording
) -> None:
    start = max(pelvis.time_s[0], upper_back.time_s[0])
    end = min(pelvis.time_s[-1], upper_back.time_s[-1])
    if start >= end:
        raise RecordingError(
            f"the two sensors share no time: pelvis {pelvis.time_s[0]:g} to "
            f"{pelvis.time_s[-1]:g} s, upper back {upper_back.time_s[0]:g} to "
            f"{upper_back.time_s[-1]:g} s",
            files.folder,
        )


def _notes(sensor: SensorRecording, facts: SystemFacts) -> list[str]:
    """What does not fit together in one sensor's recording, in words."""
    notes = []
    part = sensor.segment.replace("_", " ")
    rate_hz = float(1.0 / np.median(np.diff(sensor.time_s)))
    if not 0.9 <= rate_hz / sensor.rate_hz <= 1.1:
        notes.append(f"{part}: stated rate {sensor.rate_hz:g} Hz, measured {rate_hz:.1f} Hz")
    duration_s = float(sensor.time_s[-1] - sensor.time_s[0])
    if (
        facts.duration_s is not None
        and abs(facts.duration_s - duration_s) > 1.0 + 0.01 * duration_s
    ):
        notes.append(f"{part}: stated to last {facts.duration_s:g} s, holds {duration_s:.1f} s")
    force_g = float(np.median(np.linalg.norm(sensor.accel, axis=1))) / STANDARD_GRAVITY_MPS2
    if not 0.5 <= force_g <= 2.0:
        notes.append(
            f"{part}: the accelerometer shows {force_g:.2f} g for most of the time, a worn sensor "
            "about 1 g; check its unit in channels.tsv"
        )
    return notes
