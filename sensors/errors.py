"""Errors of the sensors room.

SensorError
├── RecordingError        a recording that cannot be read or written
│   └── RecordingChoice   several recordings where one was asked for
├── ProfileError          a file that describes a sensor and cannot be used
├── PacketError           bytes from a sensor that give no samples
├── SpoolError            the store of unsent batches on disk cannot be used
├── SourceError           a source that gives no samples
├── SimulationError       a simulated golfer, plan or sensor that cannot be
└── UplinkError           the service will not take what the collector sends

WireError (sensors.wire) stands beside them: a frame that is not of the protocol.
"""

from __future__ import annotations

from pathlib import Path


class SensorError(ValueError):
    """Root of the errors of `sensors`; the text says what was expected and what to do."""


class RecordingError(SensorError):
    """A recording that cannot be read or written, with the place in the file where known.

    path: the file or folder. line: line in the file, from 1. column: column in the line, from 1.
    """

    def __init__(
        self,
        problem: str,
        path: Path | None = None,
        *,
        line: int | None = None,
        column: int | None = None,
    ) -> None:
        self.problem = problem
        self.path = path
        self.line = line
        self.column = column
        super().__init__(problem)

    def __str__(self) -> str:
        places = [str(self.path)] if self.path is not None else []
        places += [f"line {self.line}"] if self.line is not None else []
        places += [f"column {self.column}"] if self.column is not None else []
        return f"{', '.join(places)}: {self.problem}" if places else self.problem


class RecordingChoice(RecordingError):  # noqa: N818 - a question to the user, not a fault
    """Several recordings where one was asked for; `names` lists them."""

    def __init__(self, path: Path, names: tuple[str, ...]) -> None:
        self.names = names
        listed = ", ".join(names[:12]) + (", …" if len(names) > 12 else "")
        super().__init__(
            f"holds {len(names)} recordings ({listed}); name the one to read, or give its folder",
            path,
        )


class ProfileError(SensorError):
    """A file that describes a sensor and cannot be used, with the place of the mistake.

    path: the file. line: line in the file, from 1. key: the key, as `packet[0].samples`.
    """

    def __init__(
        self,
        problem: str,
        path: Path | None = None,
        *,
        line: int | None = None,
        key: str | None = None,
    ) -> None:
        self.problem = problem
        self.path = path
        self.line = line
        self.key = key
        super().__init__(problem)

    def __str__(self) -> str:
        places = [str(self.path)] if self.path is not None else []
        places += [f"line {self.line}"] if self.line is not None else []
        places += [f"key {self.key}"] if self.key else []
        return f"{', '.join(places)}: {self.problem}" if places else self.problem


class PacketError(SensorError):
    """Bytes from a sensor that give no samples; `fault` is the reason in the words shown."""

    def __init__(self, fault: str, problem: str) -> None:
        self.fault = fault
        super().__init__(problem)


class SpoolError(SensorError):
    """The folder of unsent batches cannot be used; nothing in it was changed."""


class SourceError(SensorError):
    """A source that gives no samples; the text says what to check."""


class SimulationError(SensorError):
    """A simulated golfer, plan or sensor that cannot be; the text names the number that is off."""


class UplinkError(SensorError):
    """The service will not take what the collector sends, and trying again will not help.

    code: the reason as the service gives it, or one of this module's own words.
    """

    def __init__(self, message: str, *, code: str) -> None:
        self.code = code
        super().__init__(message)
