"""Which files of a folder make up a recording: the file names of Motion-BIDS (BIDS 1.10).

A name is a row of entities `key-label` joined by `_`, then a suffix: for instance
`sub-01_ses-02_task-swing_tracksys-pelvis_motion.tsv`. A sidecar further up the folders holds for
every file whose entities include its own (the inheritance principle).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sensors.errors import RecordingChoice, RecordingError
from sensors.wire import SegmentName

TRACKING_SYSTEMS: Final[dict[SegmentName, str]] = {"pelvis": "pelvis", "upper_back": "upperback"}
"""Segment -> label of its tracking system; BIDS labels hold letters and digits only."""

_PLACES: Final = ("", "motion", "ses-*/motion", "sub-*/motion", "sub-*/ses-*/motion")
"""Where motion files stand, seen from the data set, a subject, a session or the motion folder."""


@dataclass(frozen=True, slots=True)
class RecordingFiles:
    """The files of one recording: its name, its data set's root, a motion.tsv per segment."""

    name: str
    root: Path
    motion: dict[SegmentName, Path]

    @property
    def subject(self) -> str:
        """Label of the subject, '01' of 'sub-01'."""
        return entities_of(self.name).get("sub", "")

    @property
    def folder(self) -> Path:
        """The motion folder."""
        return next(iter(self.motion.values())).parent


def entities_of(name: str) -> dict[str, str]:
    """Entities of a file name or of its stem, key -> label, the suffix left out."""
    pairs = (part.partition("-") for part in name.split(".", maxsplit=1)[0].split("_"))
    return {key: label for key, dash, label in pairs if dash}


def find_recordings(path: Path) -> list[RecordingFiles]:
    """Every recording with at least one of the two tracking systems, by name.

    path: the data set, a subject or session folder in it, the motion folder, or one motion.tsv.
    Raises RecordingError: nothing there, or no motion file.
    """
    if not path.exists():
        raise RecordingError("there is no such folder", path)
    path = path.absolute()
    if path.is_file():
        only = _without_tracking_system(path.name)
        found = [files for files in find_recordings(path.parent) if files.name == only]
        if not found:
            raise RecordingError("expected a recording's folder or one of its motion.tsv", path)
        return found
    files = sorted(
        {file for place in _PLACES for file in path.glob(f"{place}/*_motion.tsv".lstrip("/"))}
    )
    if not files:
        raise RecordingError(
            "holds no recording; expected a Motion-BIDS folder with files such as "
            "sub-01/ses-01/motion/sub-01_ses-01_task-swing_tracksys-pelvis_motion.tsv",
            path,
        )
    groups: dict[str, list[Path]] = {}
    for file in files:
        groups.setdefault(_without_tracking_system(file.name), []).append(file)
    return [_recording_files(name, group) for name, group in groups.items()]


def choose_recording(path: Path, name: str | None = None) -> RecordingFiles:
    """The one recording of a folder, or the one called `name`, complete with both sensors.

    Raises RecordingChoice where several are there and none is named; RecordingError where the
    named one is not there or a sensor of it is missing.
    """
    found = find_recordings(path)
    if name is not None:
        named = [files for files in found if files.name == name]
        if not named:
            names = ", ".join(files.name for files in found[:12])
            raise RecordingError(f"holds no recording {name}; there is: {names}", path)
        found = named
    if len(found) > 1:
        raise RecordingChoice(path, tuple(files.name for files in found))
    _require_both_sensors(found[0])
    return found[0]


def sidecars(files: RecordingFiles, motion: Path, ending: str) -> list[Path]:
    """Files `*_ending` that hold for a motion file, the furthest up first, the nearest last."""
    own = entities_of(motion.name)
    folders = [files.root, *reversed(_between(files.root, motion.parent))]
    found = []
    for folder in folders:
        for file in sorted([*folder.glob(f"*_{ending}"), *folder.glob(ending)]):
            if entities_of(file.name).items() <= own.items():
                found.append(file)
    return sorted(found, key=lambda file: (len(file.parts), len(entities_of(file.name))))


def _between(root: Path, folder: Path) -> list[Path]:
    """Folders from `folder` up to, not with, `root`; the nearest first."""
    return [step for step in (folder, *folder.parents) if root in step.parents]


def _without_tracking_system(file_name: str) -> str:
    stem = file_name.split(".", maxsplit=1)[0].removesuffix("_motion")
    return "_".join(part for part in stem.split("_") if not part.startswith("tracksys-"))


def _recording_files(name: str, group: Iterable[Path]) -> RecordingFiles:
    motion: dict[SegmentName, Path] = {}
    others = []
    for file in group:
        label = entities_of(file.name).get("tracksys", "")
        segments = [s for s, system in TRACKING_SYSTEMS.items() if system == label.lower()]
        if segments:
            motion[segments[0]] = file
        else:
            others.append(label or file.name)
    if not motion:
        raise RecordingError(
            f"recording {name} has the tracking systems {', '.join(others)}; expected "
            f"{' and '.join(TRACKING_SYSTEMS.values())}",
            next(iter(group)).parent,
        )
    return RecordingFiles(name, _data_set_root(next(iter(motion.values()))), motion)


def _data_set_root(motion: Path) -> Path:
    subject_folders = [folder for folder in motion.parents if folder.name.startswith("sub-")]
    return subject_folders[-1].parent if subject_folders else motion.parent


def _require_both_sensors(files: RecordingFiles) -> None:
    for segment, system in TRACKING_SYSTEMS.items():
        if segment not in files.motion:
            stem = next(iter(files.motion.values())).name
            label = entities_of(stem)["tracksys"]
            expected = stem.replace(f"tracksys-{label}", f"tracksys-{system}")
            raise RecordingError(
                f"the {segment.replace('_', ' ')} sensor is missing; expected {expected}",
                files.folder,
            )
