"""A disk of a few hundred kB that really runs full: a file system in memory, mounted for a test."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

BLOCK = 4096


class SmallDisk:
    """A folder on a disk of its own, and a file of no use that takes its room away."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._ballast = folder / "ballast"

    def fill(self, leave: int = 0) -> None:
        """Take all room but `leave` bytes, to the block."""
        with self._ballast.open("ab", buffering=0) as file, contextlib.suppress(OSError):
            while file.write(bytes(BLOCK)) == BLOCK:
                pass
        size = self._ballast.stat().st_size
        with self._ballast.open("r+b") as file:
            file.truncate(max(0, size - leave))

    def free(self) -> None:
        """Give the room back."""
        self._ballast.unlink(missing_ok=True)


@contextlib.contextmanager
def small_disk(folder: Path, size: int) -> Iterator[SmallDisk]:
    """Mount a disk of `size` bytes at a new folder; skips where this may not be done."""
    if sys.platform != "linux":
        pytest.skip("a small disk can be mounted on Linux only")
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    mounted = subprocess.run(command, capture_output=True, text=True, check=False)
    if mounted.returncode != 0:
        pytest.skip(f"a small disk may not be mounted here: {mounted.stderr.strip()}")
    try:
        yield SmallDisk(folder)
    finally:
        # lazily: a process that was killed may hold its files a moment longer
        subprocess.run(["umount", "--lazy", str(folder)], check=True)
