"""The speed at which made or recorded time passes: real time, faster, or as fast as it is taken."""

from __future__ import annotations

import asyncio
import math
import time
from collections.abc import Awaitable, Callable

from sensors.errors import SourceError


class Pace:
    """Lets session time pass at `speed` times real time; 0 or infinity: without waiting.

    Time starts at the first `reach`. A pace that was held up catches up afterwards.
    Raises SourceError for a negative speed or one that is not a number.
    """

    def __init__(
        self,
        speed: float = 1.0,
        *,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        if not speed >= 0.0:
            raise SourceError(f"speed must be 0 (as fast as it goes) or above, received {speed:g}")
        self.waits = 0.0 < speed < math.inf
        self._speed = speed
        self._now = now
        self._sleep = sleep
        self._began: tuple[float, float] | None = None
        self._reached_s = 0.0

    def now_s(self) -> float:
        """Session time now: as much as has passed, or as far as was reached where none waits."""
        if not self.waits or self._began is None:
            return self._reached_s
        session_s, wall_s = self._began
        return session_s + (self._now() - wall_s) * self._speed

    async def reach(self, session_s: float) -> None:
        """Wait until session time `session_s`. Cancelling leaves the pace as it was."""
        if self._began is None:
            self._began = (session_s, self._now())
        behind = (session_s - self.now_s()) / self._speed if self.waits else 0.0
        await self._sleep(max(0.0, behind))
        self._reached_s = session_s
