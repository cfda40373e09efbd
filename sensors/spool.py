"""Frames that wait for the service, numbered in the order in which they were made.

One protocol: frames go in at the end, are read by number as often as needed, and are let go from
the front once the service has them. In memory here; on disk in sensors.disk_spool.
"""

from __future__ import annotations

from collections import deque
from typing import Final, Protocol

from sensors.errors import SpoolError
from sensors.wire import MAX_FRAME_BYTES, Hello

MAX_MEMORY_BYTES: Final = 64 * 1024 * 1024
"""Two 200 Hz sensors make 12 kB a second: about 90 minutes."""
ROOM_BYTES: Final = MAX_FRAME_BYTES
"""With less room than this in a spool no further packet is taken: what stands in batches already
must still fit."""


class Spool(Protocol):
    """Frames by number, from `first` to before `end`."""

    hello: Hello | None
    """What the collector says first, as last kept; None in a spool that was never used."""

    @property
    def first(self) -> int:
        """Number of the oldest frame that is kept."""
        ...

    @property
    def end(self) -> int:
        """Number that the next frame will get."""
        ...

    @property
    def kept_bytes(self) -> int:
        """Size of what is kept, about."""
        ...

    @property
    def room_bytes(self) -> int:
        """Bytes of frames that can still be taken, as far as it is known."""
        ...

    @property
    def trouble(self) -> str | None:
        """Where and why the disk takes nothing now; None: it does, or there is none."""
        ...

    def keep_hello(self, hello: Hello) -> None:
        """Keep what the collector says first. Raises SpoolError."""
        ...

    def append(self, frame: bytes) -> None:
        """Keep a frame. Raises SpoolError where it cannot be kept; the spool is as before."""
        ...

    def read(self, number: int) -> bytes | None:
        """The frame of a number; None where there is none yet. Raises SpoolError: damaged."""
        ...

    def release(self, before: int) -> None:
        """Frames with a number below `before` are not needed any more."""
        ...

    def close(self, *, done: bool) -> int:
        """Let go of the spool; done: nothing in it is needed any more.

        Gives the number of frames that are lost by it.
        """
        ...


class MemorySpool:
    """Frames in memory, up to `max_bytes`; gone with the process. For sources that can wait."""

    def __init__(self, max_bytes: int = MAX_MEMORY_BYTES) -> None:
        self._max_bytes = max_bytes
        self.hello: Hello | None = None
        self._frames: deque[bytes] = deque()
        self._first = 0
        self._kept_bytes = 0

    @property
    def first(self) -> int:
        """Number of the oldest frame that is kept."""
        return self._first

    @property
    def end(self) -> int:
        """Number that the next frame will get."""
        return self._first + len(self._frames)

    @property
    def kept_bytes(self) -> int:
        """Bytes of all frames that are kept."""
        return self._kept_bytes

    @property
    def room_bytes(self) -> int:
        """Bytes up to `max_bytes`."""
        return self._max_bytes - self._kept_bytes

    @property
    def trouble(self) -> str | None:
        """None: there is no disk."""
        return None

    def keep_hello(self, hello: Hello) -> None:
        """Keep what the collector says first."""
        self.hello = hello

    def append(self, frame: bytes) -> None:
        """Keep a frame. Raises SpoolError where `max_bytes` are kept already."""
        if self._kept_bytes + len(frame) > self._max_bytes:
            raise SpoolError(
                f"{self._max_bytes / 1e6:.0f} MB wait in memory for the service; bring it back, "
                "or give a folder in which unsent batches may wait"
            )
        self._frames.append(frame)
        self._kept_bytes += len(frame)

    def read(self, number: int) -> bytes | None:
        """The frame of a number; None where there is none yet or no more."""
        place = number - self._first
        return self._frames[place] if 0 <= place < len(self._frames) else None

    def release(self, before: int) -> None:
        """Forget frames with a number below `before`."""
        while self._frames and self._first < before:
            self._kept_bytes -= len(self._frames.popleft())
            self._first += 1

    def close(self, *, done: bool) -> int:
        """Forget everything, done or not: memory survives nothing. Gives what that loses."""
        lost = 0 if done else len(self._frames)
        self.release(self.end)
        return lost
