"""Which sensor is worn where, remembered in the user's folder: nobody has to say it twice."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Final

import msgspec
from platformdirs import user_config_path

from sensors.errors import SensorError
from sensors.wire import Fixing, SegmentName

FILE_NAME: Final = "sensors.json"
FORMAT: Final = 1


class SensorBookError(SensorError):
    """The file of remembered sensors cannot be read or written; nothing in it was changed."""


class KnownSensor(msgspec.Struct, frozen=True, kw_only=True):
    """A sensor that was given a place on the body.

    address: as the system names it, a UUID on macOS. profile: id of its profile. fixing: what holds
    it on the body, None where nobody said.
    """

    address: str
    name: str
    profile: str
    segment: SegmentName
    fixing: Fixing | None = None


class _Page(msgspec.Struct, frozen=True, kw_only=True):
    format: int
    sensors: tuple[KnownSensor, ...] = ()


class SensorBook:
    """The remembered sensors, at most one for each segment. Every change is on disk at once."""

    def __init__(self, path: Path | None = None) -> None:
        """path: the file; left out, the one in the user's configuration folder.

        Raises SensorBookError where a file is there that cannot be read.
        """
        self.path = path if path is not None else default_path()
        self._sensors = _read(self.path)

    @property
    def sensors(self) -> tuple[KnownSensor, ...]:
        """Pelvis first."""
        return tuple(sorted(self._sensors, key=lambda sensor: sensor.segment))

    def worn_on(self, segment: SegmentName) -> KnownSensor | None:
        """The sensor of a segment."""
        return next((sensor for sensor in self._sensors if sensor.segment == segment), None)

    def at(self, address: str) -> KnownSensor | None:
        """The sensor with an address; case does not matter."""
        wanted = address.lower()
        return next((one for one in self._sensors if one.address.lower() == wanted), None)

    def assign(self, sensor: KnownSensor) -> None:
        """Remember a sensor; it takes the place of its segment's, and leaves its own old one.

        Raises SensorBookError where the file cannot be written.
        """
        address = sensor.address.lower()
        others = [
            one
            for one in self._sensors
            if one.segment != sensor.segment and one.address.lower() != address
        ]
        self._keep((*others, sensor))

    def swap(self) -> None:
        """Pelvis becomes upper back and the other way round. Raises SensorBookError."""
        other: dict[SegmentName, SegmentName] = {"pelvis": "upper_back", "upper_back": "pelvis"}
        self._keep(
            tuple(msgspec.structs.replace(one, segment=other[one.segment]) for one in self._sensors)
        )

    def forget(self, address: str) -> None:
        """Remember it no longer; an unknown address is no fault. Raises SensorBookError."""
        wanted = address.lower()
        self._keep(tuple(one for one in self._sensors if one.address.lower() != wanted))

    def _keep(self, sensors: tuple[KnownSensor, ...]) -> None:
        page = msgspec.json.encode(_Page(format=FORMAT, sensors=sensors))
        _replace(self.path, msgspec.json.format(page, indent=2) + b"\n")
        self._sensors = sensors


def default_path() -> Path:
    """The file in the user's configuration folder."""
    return user_config_path("torsolog", appauthor=False) / FILE_NAME


def _read(path: Path) -> tuple[KnownSensor, ...]:
    try:
        page = msgspec.json.decode(path.read_bytes(), type=_Page)
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise SensorBookError(f"{path}: {error.strerror}") from error
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise SensorBookError(
            f"{path}: not a list of remembered sensors ({error}); mend it, or delete it and assign "
            "the sensors anew"
        ) from error
    if page.format != FORMAT:
        raise SensorBookError(
            f"{path}: expected format {FORMAT}, received {page.format}; it was written by another "
            "release"
        )
    segments = [sensor.segment for sensor in page.sensors]
    if len(set(segments)) < len(segments):
        raise SensorBookError(f"{path}: expected one sensor a segment, received {segments}")
    return page.sensors


def _replace(path: Path, content: bytes) -> None:
    """Write beside the file, then put in its place in one step: it is there whole or as it was."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        written = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            written.replace(path)
        finally:
            written.unlink(missing_ok=True)
    except OSError as error:
        raise SensorBookError(f"{path}: {error.strerror}; nothing was remembered") from error
