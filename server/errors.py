"""Errors of the service.

ServiceError
├── SettingsError       settings that cannot be used
├── StoreError          the database cannot be opened, is of another program or a later version
├── NotFoundError       no such golfer, session, swing or stream
├── ConflictError       what is asked for does not fit what is stored
└── UnusableInputError  a value that the service cannot take
"""


class ServiceError(Exception):
    """Root of every error that `server` raises on purpose; the text is for people."""


class SettingsError(ServiceError, ValueError):
    """Settings that cannot be used; the text names the setting and what was expected."""


class StoreError(ServiceError):
    """The database cannot be used; the text says why and what to do."""


class NotFoundError(ServiceError, LookupError):
    """Nothing is stored under this id."""

    def __init__(self, kind: str, key: str) -> None:
        super().__init__(f"no {kind} has the id {key!r}")
        self.kind = kind
        self.key = key


class ConflictError(ServiceError):
    """What is asked for does not fit what is stored."""


class UnusableInputError(ServiceError, ValueError):
    """A value that the service cannot take; the text names what was expected."""
