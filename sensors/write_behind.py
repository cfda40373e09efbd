"""A spool whose disk may be slow: frames are taken at once and written by a thread, in order.

A slow disk (a card, a network folder, a disk that wakes up) must not hold up the event loop that
takes packets from the radio. Frames stay readable in memory until they are written and for a while
after; what the service has acknowledged before its turn came is never written at all. The end of
the process takes what was not yet written: on a disk that keeps up, the last milliseconds, beside
the samples of batches that are not full yet (tests.benchmarks.collector_kill).
"""

from __future__ import annotations

import contextlib
from collections import deque
from threading import Condition, Lock, Thread
from typing import Final

from sensors.errors import SpoolError
from sensors.spool import MAX_MEMORY_BYTES, Spool
from sensors.wire import Hello

RECENT_BYTES: Final = 4 * 1024 * 1024
"""Written frames that stay in memory, so that a service that keeps up costs no reading."""


class WriteBehindSpool:
    """Another spool, written by a thread of its own; `close` ends the thread.

    max_bytes: of frames that wait for the disk. The disk's spool should refuse what it cannot
    write (`overflow_bytes=0`); it is tried again with the next frame.
    """

    def __init__(
        self,
        disk: Spool,
        *,
        max_bytes: int = MAX_MEMORY_BYTES,
        recent_bytes: int = RECENT_BYTES,
    ) -> None:
        self.hello = disk.hello
        self._disk = disk
        self._disk_lock = Lock()
        self._max_bytes = max_bytes
        self._recent_bytes = recent_bytes
        self._frames: deque[bytes] = deque()
        self._frames_bytes = 0
        self._waiting_bytes = 0
        self._start = self._written = disk.end
        self._first = disk.first
        self._skipped = 0
        self._new_hello: Hello | None = None
        self._stuck = self._closing = False
        self._change = Condition()
        self._thread = Thread(target=self._write, name="torsolog-spool", daemon=True)
        self._thread.start()

    @property
    def first(self) -> int:
        """Number of the oldest frame that is kept."""
        return self._first

    @property
    def end(self) -> int:
        """Number that the next frame will get."""
        return self._start + len(self._frames)

    @property
    def kept_bytes(self) -> int:
        """Bytes on disk and of frames that wait for it."""
        return self._disk.kept_bytes + self._waiting_bytes

    @property
    def room_bytes(self) -> int:
        """Bytes of frames that may still wait for the disk."""
        return self._max_bytes - self._waiting_bytes

    @property
    def trouble(self) -> str | None:
        """Where and why the disk took nothing when it was last tried; None: it did."""
        return self._disk.trouble

    @property
    def unwritten(self) -> int:
        """Frames that wait for the disk."""
        return self.end - self._written

    def keep_hello(self, hello: Hello) -> None:
        """Keep what the collector says first; the very first at once. Raises SpoolError."""
        if self.hello is None:
            with self._disk_lock:
                self._disk.keep_hello(hello)
            self.hello = hello
            return
        with self._change:
            self.hello = self._new_hello = hello
            self._change.notify()

    def append(self, frame: bytes) -> None:
        """Take a frame. Raises SpoolError where too much waits for the disk already."""
        with self._change:
            if self._waiting_bytes + len(frame) > self._max_bytes:
                raise SpoolError(
                    f"{self._waiting_bytes / 1e6:.1f} MB wait for the disk, which takes no more or "
                    "is too slow; free some space or bring the service back"
                )
            self._frames.append(frame)
            self._frames_bytes += len(frame)
            self._waiting_bytes += len(frame)
            self._stuck = False
            self._change.notify()

    def read(self, number: int) -> bytes | None:
        """The frame of a number; None where there is none yet. Raises SpoolError: damaged."""
        with self._change:
            place = number - self._start
            if place >= 0:
                return self._frames[place] if place < len(self._frames) else None
        with self._disk_lock:
            return self._disk.read(number - self._skipped)

    def release(self, before: int) -> None:
        """Frames with a number below `before` are not needed any more."""
        with self._change:
            self._first = max(self._first, min(before, self.end))
            self._forget()
            self._change.notify()

    def close(self, *, done: bool) -> int:
        """Write the rest (done: let it go), end the thread and let go of the disk's spool.

        Gives the number of frames that the disk would not take to the last.
        """
        with self._change:
            if done:
                self._first = self.end
            self._closing = True
            self._stuck = False
            self._change.notify()
        self._thread.join()
        if self.unwritten and not done:  # a write that failed may have been the last to fail
            self._stuck = False
            self._write()
        lost = 0 if done else self.unwritten
        return lost + self._disk.close(done=done)

    def _forget(self) -> None:
        """Drop frames that are written and old, or released; never one that waits."""
        while self._start < self._written and (
            self._start < self._first or self._frames_bytes > self._recent_bytes
        ):
            self._frames_bytes -= len(self._frames.popleft())
            self._start += 1

    def _skip_released(self) -> None:
        """What the service has before it was written needs no disk."""
        while self._written < min(self._first, self.end):
            self._waiting_bytes -= len(self._frames[self._written - self._start])
            self._written += 1
            self._skipped += 1
        self._forget()

    def _write(self) -> None:
        """The thread: one hello or frame at a time, until closed and nothing waits."""
        while (job := self._next()) is not None:
            hello, frame, release_to = job
            try:
                with self._disk_lock:
                    if hello is not None:
                        self._disk.keep_hello(hello)
                    if frame is not None:
                        self._disk.append(frame)
                    with contextlib.suppress(SpoolError, OSError):  # tried again with the next
                        self._disk.release(release_to)
            except (SpoolError, OSError):
                with self._change:
                    self._stuck = True
            else:
                self._done(frame)

    def _next(self) -> tuple[Hello | None, bytes | None, int] | None:
        with self._change:
            while True:
                if not self._stuck:
                    self._skip_released()
                    if self.unwritten or self._new_hello is not None:
                        break
                if self._closing:
                    return None
                self._change.wait()
            hello, self._new_hello = self._new_hello, None
            frame = self._frames[self._written - self._start] if self.unwritten else None
            return hello, frame, min(self._first, self._written) - self._skipped

    def _done(self, frame: bytes | None) -> None:
        if frame is None:
            return
        with self._change:
            self._written += 1
            self._waiting_bytes -= len(frame)
            self._forget()
