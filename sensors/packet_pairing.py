"""Brings gyroscope and accelerometer together where a sensor sends them in packets of their own.

Packets belong together that carry the same tick, or else the same counter; where they carry
neither, an accelerometer packet belongs to the gyroscope packet right before it, or the other way
round, as the profile lists them.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

from sensors.packet_layout import PacketLayout
from sensors.source import Array, Ticks

WAITING: Final = 8
"""Packets of one kind that wait for the other: both are sent within a connection event or two."""


@dataclass(frozen=True, slots=True)
class HalfPacket:
    """A packet that holds one of the two: values (k, 3).

    number of its first sample and ticks (k,) count for the leading kind only.
    """

    key: int | None
    number: int
    ticks: Ticks
    values: Array


Pair = tuple[HalfPacket, HalfPacket]


class PacketPairing:
    """Pairs packets of a leading kind, the one listed first, with those of the following kind."""

    def __init__(self) -> None:
        self._waiting: tuple[deque[HalfPacket], deque[HalfPacket]] = (deque(), deque())

    def pair(self, half: HalfPacket, *, leading: bool) -> tuple[Pair | None, int]:
        """(leading, following) if this one completes it, and how many were found to be alone."""
        own, other = self._waiting if leading else self._waiting[::-1]
        if half.key is None:
            return self._by_arrival(half, leading=leading)
        match = next((at for at, found in enumerate(other) if found.key == half.key), None)
        if match is None:
            own.append(half)
            if len(own) <= WAITING:
                return None, 0
            own.popleft()
            return None, 1
        alone = match + len(own)
        partner = [other.popleft() for _ in range(match + 1)][-1]
        own.clear()
        if len(partner.values) != len(half.values):
            return None, alone + 2
        return ((half, partner) if leading else (partner, half)), alone

    def clear(self) -> int:
        """Forget what waits, as after a restart; how many that were."""
        count = sum(len(waiting) for waiting in self._waiting)
        for waiting in self._waiting:
            waiting.clear()
        return count

    def _by_arrival(self, half: HalfPacket, *, leading: bool) -> tuple[Pair | None, int]:
        first, _ = self._waiting
        if leading:
            alone = len(first)
            first.clear()
            first.append(half)
            return None, alone
        if not first:
            return None, 1
        partner = first.popleft()
        if len(partner.values) != len(half.values):
            return None, 2
        return (partner, half), 0


def pairing_key(layout: PacketLayout, sequence: int, tick: int, *, ticked: bool) -> int | None:
    """What two packets that belong together have in common; None where only their order does.

    ticked: both kinds carry a tick.
    """
    if ticked:
        return tick
    if layout.sequence is None:
        return None
    step = layout.sequence.step
    # A counter shared by both kinds rises by two from one packet of a kind to the next.
    return sequence // step if isinstance(step, int) else sequence
