"""One process at a time in a folder: a lock of the operating system, gone with the process."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

from sensors.errors import SpoolError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

LOCK_NAME: Final = "lock"


class FolderLock:
    """Held from the start to `release`. Raises SpoolError where another process holds it."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / LOCK_NAME
        self._file = self._path.open("a+b")
        try:
            if sys.platform == "win32":
                msvcrt.locking(self._file.fileno(), msvcrt.LK_NBLCK, 1)
            else:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            self._file.close()
            raise SpoolError(f"{folder}: another collector is using this folder") from error

    def release(self, *, remove: bool = False) -> None:
        """Give the folder free; remove: the lock's file goes as well, as the folder will."""
        self._file.close()
        if remove:
            self._path.unlink(missing_ok=True)
