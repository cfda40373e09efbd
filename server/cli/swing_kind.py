"""The simulated golfers that can be chosen."""

from __future__ import annotations

from enum import StrEnum


class SwingKind(StrEnum):
    """How the simulated golfer makes speed."""

    LONG_TURN = "long-turn"
    SHORT_TURN = "short-turn"
