"""What only some commands need, loaded by name when it is asked for."""

from __future__ import annotations

from importlib import import_module
from typing import Any


def loaded(where: str) -> Any:  # noqa: ANN401 - whatever stands there
    """What stands at `module:name`."""
    module, _, name = where.partition(":")
    return getattr(import_module(module), name)
