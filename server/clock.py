"""Time as an object, so that nothing in the service asks the machine for it by itself."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Wall time and a time that only grows."""

    def now(self) -> datetime:
        """Wall time, UTC, with its zone."""
        ...

    def monotonic(self) -> float:
        """Seconds since any fixed moment; never runs back."""
        ...


class SystemClock:
    """The machine's own clock."""

    def now(self) -> datetime:
        """Wall time, UTC."""
        return datetime.now(UTC)

    def monotonic(self) -> float:
        """Seconds, never running back."""
        return time.monotonic()
