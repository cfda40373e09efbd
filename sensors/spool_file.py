"""One file of a spool: frames one after another, each with its length and a CRC-32.

A record is `<length, CRC-32 of the frame>` as two little-endian uint32, then the frame. A process
that dies while it writes leaves a last record that is short or does not match its CRC; opening the
file for more cuts it off there.
"""

from __future__ import annotations

import errno
import os
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

from sensors.errors import SpoolError
from sensors.wire import MAX_FRAME_BYTES

_HEAD: Final = struct.Struct("<II")
SUFFIX: Final = ".frames"


class SpoolFile:
    """Frames numbered from `first` in one file.

    for_more: frames will be appended, so a torn end is cut off; dropped_bytes says how much.
    Raises SpoolError: the file cannot be used, or has a torn end and is not for more.
    """

    def __init__(self, path: Path, first: int, *, for_more: bool = True) -> None:
        self.path = path
        self.first = first
        self.count = 0
        self.size = 0
        self.dropped_bytes = 0
        self._next: tuple[int, int] = (first, 0)
        try:
            self._file = path.open("r+b" if path.exists() else "w+b", buffering=0)
            self._take_stock(for_more=for_more)
        except OSError as error:
            raise SpoolError(f"{path}: cannot be used: {error.strerror or error}") from error

    @property
    def end(self) -> int:
        """Number of the frame after the last."""
        return self.first + self.count

    def append(self, frame: bytes) -> None:
        """Write one frame behind the last. Raises OSError; the file is then as it was."""
        record = _HEAD.pack(len(frame), zlib.crc32(frame)) + frame
        self._file.seek(self.size)
        try:
            written = self._file.write(record)
        except OSError:
            self._file.truncate(self.size)
            raise
        if written != len(record):
            self._file.truncate(self.size)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self.size += len(record)
        self.count += 1

    def read(self, number: int) -> bytes:
        """The frame of a number that is in this file. Raises SpoolError where it is damaged."""
        if number < self._next[0]:
            self._next = (self.first, 0)
        found = b""
        for number_here, frame, after in _records(self._file, *self._next):
            self._next = (number_here + 1, after)
            if number_here == number:
                found = frame
                break
        if not found:
            raise SpoolError(
                f"{self.path}: frame {number} is damaged; the file was changed by something else "
                "or the disk failed"
            )
        return found

    def close(self) -> None:
        """Close the file and leave it where it is."""
        self._file.close()

    def remove(self) -> None:
        """Close and delete the file."""
        self._file.close()
        self.path.unlink(missing_ok=True)

    def _take_stock(self, *, for_more: bool) -> None:
        """Count whole frames and cut off what a dying process left half written."""
        for _, _, after in _records(self._file, self.first, 0):
            self.count += 1
            self.size = after
        self.dropped_bytes = self.path.stat().st_size - self.size
        if self.dropped_bytes and not for_more:
            self._file.close()
            raise SpoolError(
                f"{self.path}: is damaged after frame {self.end}; the file was changed by "
                "something else or the disk failed"
            )
        self._file.truncate(self.size)


def _records(file: BinaryIO, number: int, offset: int) -> Iterator[tuple[int, bytes, int]]:
    """(number, frame, offset after it) of each whole record from an offset on."""
    file.seek(offset)
    while len(head := file.read(_HEAD.size)) == _HEAD.size:
        length, checksum = _HEAD.unpack(head)
        if not 0 < length <= MAX_FRAME_BYTES:
            return
        frame = file.read(length)
        if len(frame) != length or zlib.crc32(frame) != checksum:
            return
        offset += _HEAD.size + length
        yield number, frame, offset
        number += 1
        file.seek(offset)
