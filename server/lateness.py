"""Whether what the pages show is behind the sensors, and why, in words.

Nothing is lost by it: samples wait in the collector, on its disk if it has a spool there, and those
that are stored wait in the store for their analysis.
"""

from __future__ import annotations

import math

from server.live_session import Progress
from server.status import StatusBoard

LATE_FROM_S = 2.0
"""Told from here on: a batch, a connection interval and a commit take well under a second."""


def lateness(board: StatusBoard, progress: Progress | None) -> str | None:
    """What is behind, and by how much; None: nothing is, or nobody waits for it."""
    if progress is not None and progress.anew:
        return (
            "The session is read once more with what was measured since: its swings come anew."
            if _analysis_behind_s(board, progress) >= LATE_FROM_S
            else None
        )
    behind_s = board.stored_behind_s() + _analysis_behind_s(board, progress)
    if behind_s < LATE_FROM_S:
        return None
    return (
        f"Swings show {behind_s:.0f} s late: this computer is too busy. Close other programs; the "
        "samples wait in order and are kept."
    )


def _analysis_behind_s(board: StatusBoard, progress: Progress | None) -> float:
    """By how much the analysis is behind the store, s; 0 where no sensor sends in real time."""
    live_to_s = board.live_to_s()
    if progress is None or live_to_s is None or not math.isfinite(progress.seen_to_s):
        return 0.0
    return max(0.0, live_to_s - progress.seen_to_s)
