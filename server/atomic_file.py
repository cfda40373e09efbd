"""A file that is either there whole or not there at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path


class FileExistsAlreadyError(OSError):
    """The file to write is there already and was not to be overwritten."""


def write_text(path: Path, parts: Iterable[str], *, overwrite: bool = False) -> None:
    """Write `parts` as UTF-8 to a file beside `path`, then put it in its place in one step.

    Raises FileExistsAlreadyError where `path` exists and `overwrite` is False, OSError where the
    folder is missing or cannot be written; whatever stood at `path` is then untouched.
    """
    if path.exists() and not overwrite:
        raise FileExistsAlreadyError(f"{path} exists already")
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error
    written = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.writelines(parts)
            file.flush()
            os.fsync(file.fileno())
        written.chmod(0o666 & ~_umask())
        _put_in_place(written, path, overwrite=overwrite)
    finally:
        written.unlink(missing_ok=True)


def _put_in_place(written: Path, path: Path, *, overwrite: bool) -> None:
    if overwrite:
        written.replace(path)
        return
    try:
        path.hardlink_to(written)
    except FileExistsError as error:
        raise FileExistsAlreadyError(f"{path} exists already") from error
    except OSError:  # a file system without hard links
        written.replace(path)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
