"""The spool of a collector on disk, so that a crash of either side loses nothing.

One folder a run: `hello` (what the collector says first) and files of frames named by the number
of their first frame. A file is deleted when the service has all of it. What is written here
survives the end of the process at any moment; it is not forced through to the disk, so a power cut
may take the last seconds.

Where the disk takes nothing any more, frames wait in memory, up to a limit, and go to disk in
order as soon as it takes them.
"""

from __future__ import annotations

import contextlib
import zlib
from pathlib import Path
from typing import Final

from sensors.errors import SpoolError
from sensors.folder_lock import FolderLock
from sensors.spool import MAX_MEMORY_BYTES, MemorySpool
from sensors.spool_file import SUFFIX, SpoolFile
from sensors.wire import Hello, WireError, decode_from_collector, encode

FILE_BYTES: Final = 4 * 1024 * 1024
_HELLO, _NEW_HELLO = "hello", "hello.new"


class DiskSpool:
    """The spool of one run in its own folder, which no other process may use at the same time.

    dropped_bytes: what the end of the last process left half written. overflowing: the disk takes
    nothing and frames wait in memory. Raises SpoolError: the folder is in use or cannot be used.
    """

    def __init__(
        self,
        folder: Path,
        *,
        file_bytes: int = FILE_BYTES,
        overflow_bytes: int = MAX_MEMORY_BYTES,
    ) -> None:
        self.folder = folder
        self._file_bytes = file_bytes
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = FolderLock(folder)
        except OSError as error:
            raise SpoolError(
                f"{folder}: unsent batches cannot be kept here: {error.strerror or error}"
            ) from error
        self._overflow = MemorySpool(overflow_bytes)
        self._files: list[SpoolFile] = []
        self._hello_due = False
        self._trouble: str | None = None
        try:
            self.hello = self._read_hello()
            self._open_files()
        except SpoolError:
            self._let_go()
            raise
        self.dropped_bytes = self._files[-1].dropped_bytes

    @property
    def first(self) -> int:
        """Number of the oldest frame that is kept."""
        return self._files[0].first

    @property
    def end(self) -> int:
        """Number that the next frame will get."""
        return self._files[-1].end + self._overflow.end - self._overflow.first

    @property
    def kept_bytes(self) -> int:
        """Bytes of all frames that are kept, on disk and in memory."""
        return sum(file.size for file in self._files) + self._overflow.kept_bytes

    @property
    def overflowing(self) -> bool:
        """Whether frames wait in memory for the disk."""
        return self._overflow.kept_bytes > 0

    @property
    def room_bytes(self) -> int:
        """Bytes in memory while the disk takes nothing; what it takes is found out by writing."""
        return self._overflow.room_bytes if self.overflowing else MAX_MEMORY_BYTES

    @property
    def trouble(self) -> str | None:
        """Where and why the last write failed; None: it did not."""
        return self._trouble

    def keep_hello(self, hello: Hello) -> None:
        """Keep what the collector says first, whole or not at all.

        Raises SpoolError where the first one cannot be written; a later one is tried again before
        each frame, and no frame that may need it is written before it.
        """
        before, self.hello = self.hello, hello
        try:
            self._write_hello()
        except OSError as error:
            self._hello_due = True
            self._trouble = f"{self.folder} ({error.strerror or error})"
            if before is None:
                self.hello = None
                raise SpoolError(f"{self.folder}: {error.strerror or error}") from error

    def append(self, frame: bytes) -> None:
        """Keep a frame. Raises SpoolError where neither disk nor memory takes any more."""
        self._empty_overflow()
        if not self.overflowing and self._append_to_disk(frame):
            return
        try:
            self._overflow.append(frame)
        except SpoolError as error:
            raise SpoolError(
                f"{self._trouble}: the disk takes no more, and neither does memory; free some "
                "space or bring the service back"
            ) from error

    def read(self, number: int) -> bytes | None:
        """The frame of a number; None where there is none yet. Raises SpoolError: damaged."""
        for file in self._files:
            if file.first <= number < file.end:
                return file.read(number)
        return self._overflow.read(number - self._files[-1].end + self._overflow.first)

    def release(self, before: int) -> None:
        """Delete every file whose frames all have a number below `before`."""
        while len(self._files) > 1 and self._files[0].end <= before:
            self._files.pop(0).remove()
        only = self._files[0] if len(self._files) == 1 and not self.overflowing else None
        if only is not None and only.end <= before and only.size >= self._file_bytes // 16:
            with contextlib.suppress(SpoolError):
                self._files = [SpoolFile(self._path(only.end), only.end)]
                only.remove()

    def close(self, *, done: bool) -> int:
        """Let go of the folder; done: delete it, as nothing in it is needed any more.

        Gives the number of frames that the disk would not take to the last.
        """
        if not done:
            with contextlib.suppress(OSError):
                self._write_due_hello()
            self._empty_overflow()
            self._let_go()
            return self._overflow.end - self._overflow.first
        for file in self._files:
            file.remove()
        (self.folder / _HELLO).unlink(missing_ok=True)
        self._lock.release(remove=True)
        with contextlib.suppress(OSError):
            self.folder.rmdir()
        return 0

    def _open_files(self) -> None:
        starts = sorted(int(path.stem) for path in self.folder.glob(f"*{SUFFIX}")) or [0]
        for first in starts:
            if self._files and self._files[-1].end != first:
                raise SpoolError(f"{self.folder}: the file of frame {self._files[-1].end} is gone")
            for_more = first == starts[-1]
            self._files.append(SpoolFile(self._path(first), first, for_more=for_more))

    def _let_go(self) -> None:
        for file in self._files:
            file.close()
        self._lock.release()

    def _append_to_disk(self, frame: bytes) -> bool:
        try:
            self._write_due_hello()
            if self._files[-1].size >= self._file_bytes:
                end = self._files[-1].end
                self._files.append(SpoolFile(self._path(end), end))
            self._files[-1].append(frame)
        except OSError as error:
            self._trouble = f"{self.folder} ({error.strerror or error})"
            return False
        except SpoolError as error:
            self._trouble = str(error)
            return False
        self._trouble = None
        return True

    def _write_due_hello(self) -> None:
        """A hello that could not be written when it was made. Raises OSError."""
        if self._hello_due and self.hello is not None:
            self._write_hello()

    def _write_hello(self) -> None:
        assert self.hello is not None
        frame = encode(self.hello)
        new = self.folder / _NEW_HELLO
        try:
            new.write_bytes(zlib.crc32(frame).to_bytes(4, "little") + frame)
            new.replace(self.folder / _HELLO)
        except OSError:
            with contextlib.suppress(OSError):
                new.unlink(missing_ok=True)
            raise
        self._hello_due = False
        self._trouble = None

    def _empty_overflow(self) -> None:
        while (frame := self._overflow.read(self._overflow.first)) is not None:
            if not self._append_to_disk(frame):
                return
            self._overflow.release(self._overflow.first + 1)

    def _path(self, first: int) -> Path:
        return self.folder / f"{first:012d}{SUFFIX}"

    def _read_hello(self) -> Hello | None:
        """The hello as kept; None where none was kept whole."""
        path = self.folder / _HELLO
        if not path.is_file():
            return None
        data = path.read_bytes()
        frame = data[4:]
        try:
            hello = decode_from_collector(frame)
        except WireError:
            hello = None
        if zlib.crc32(frame) != int.from_bytes(data[:4], "little") or not isinstance(hello, Hello):
            raise SpoolError(f"{path}: is damaged, so nobody knows whose batches these are")
        return hello


def unfinished_runs(root: Path) -> list[Path]:
    """Folders below `root` in which an earlier run left something, oldest first."""
    if not root.is_dir():
        return []
    runs = [path.parent for path in root.glob(f"*/{_HELLO}")]
    return sorted(runs, key=lambda folder: (folder / _HELLO).stat().st_mtime)
