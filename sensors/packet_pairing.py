"""Brings gyroscope and accelerometer together where a sensor sends them in packets of their own.

Packets belong together that carry the same tick, or else the same counter; of a counter that both
kinds share, the following kind's is the next one or two up. Where they carry neither, a packet of
the following kind belongs to the leading one right before it, as the profile lists them.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum
from typing import Final

from sensors.packet_layout import PacketLayout
from sensors.profile import TYPE_BYTES
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


class PacketKey(Enum):
    """What two packets that belong together have in common."""

    TICK = "tick"
    SEQUENCE = "sequence"
    NONE = "order"


Pair = tuple[HalfPacket, HalfPacket]


class PacketPairing:
    """Pairs packets of a leading kind, the one listed first, with those of the following kind."""

    def __init__(self, step: int = 1, span: int = 0) -> None:
        """Keys go together that are less than `step` apart, modulo `span` where it is not 0."""
        self._step, self._span = step, span
        self._waiting: tuple[deque[HalfPacket], deque[HalfPacket]] = (deque(), deque())

    def pair(self, half: HalfPacket, *, leading: bool) -> tuple[Pair | None, int]:
        """(leading, following) if this one completes it, and how many were found to be alone."""
        own, other = self._waiting if leading else self._waiting[::-1]
        if half.key is None:
            return self._by_arrival(half, leading=leading)
        match = next(
            (at for at, found in enumerate(other) if self._match(half, found, leading=leading)),
            None,
        )
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

    def _match(self, half: HalfPacket, found: HalfPacket, *, leading: bool) -> bool:
        assert half.key is not None
        assert found.key is not None
        apart = found.key - half.key if leading else half.key - found.key
        return 0 <= (apart % self._span if self._span else apart) < self._step

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


def pairing_of(layouts: list[PacketLayout]) -> tuple[PacketPairing | None, PacketKey]:
    """Pairing of the kinds that hold gyro and accel, None where one holds both; and its key."""
    if len(layouts) < 2:
        return None, PacketKey.NONE
    sequence = layouts[0].sequence
    if all(layout.tick for layout in layouts):
        return PacketPairing(), PacketKey.TICK
    if sequence is None:
        return PacketPairing(), PacketKey.NONE
    step = sequence.step if isinstance(sequence.step, int) else 1
    return PacketPairing(step, 1 << 8 * TYPE_BYTES[sequence.type]), PacketKey.SEQUENCE
