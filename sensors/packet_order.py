"""Where a packet belongs among those before it: follows on, repeats one, leaves a gap, starts anew.

Told by the counter a packet carries; where it has none, by its tick; where it has neither, packets
are taken as they come, and only the times of arrival can show a gap.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

from sensors.packet_layout import PacketLayout
from sensors.profile import TYPE_BYTES

REMEMBERED: Final = 64
"""Packets of which a repetition is known: more than any stack keeps on its way."""
_SLACK: Final = 0.05
"""Part by which a sensor's rate may be off the stated one: oscillators of motion chips are within
a few per cent (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Place:
    """repeated: the packet came before. lost: samples missing before it. restarted: a new start."""

    repeated: bool = False
    lost: int = 0
    restarted: bool = False


class PacketOrder:
    """Follows one kind of packet. Counters wrap; a gap of half their span or more is a restart."""

    def __init__(self, layout: PacketLayout, ticks_per_sample: float) -> None:
        sequence = layout.sequence
        self._span = 1 << (8 * TYPE_BYTES[sequence.type]) if sequence else 0
        self._step = sequence.step if sequence else 1
        self._tick_span = layout.tick_span
        self._ticks_per_sample = ticks_per_sample
        self._seen: OrderedDict[tuple[int, int], int] = OrderedDict()
        self._last: tuple[int, int, int] | None = None

    def place(self, sequence: int, tick: int, count: int, payload: bytes) -> Place:
        """Place of the next packet: counter, tick of its first sample (0: not sent), samples."""
        if self._span or self._tick_span:
            key, mark = (sequence, tick), hash(payload)
            if self._seen.get(key) == mark:
                return Place(repeated=True)
            self._seen[key] = mark
            if len(self._seen) > REMEMBERED:
                self._seen.popitem(last=False)
        before, self._last = self._last, (sequence, tick, count)
        if before is None:
            return Place()
        found = self._by_counter(before) if self._span else self._by_tick(before)
        if found.restarted:
            self._seen.clear()
        return found

    def _by_counter(self, before: tuple[int, int, int]) -> Place:
        assert self._last is not None
        sequence, tick, count = self._last
        last_sequence, last_tick, last_count = before
        step = last_count if self._step == "samples" else int(self._step)
        missing = (sequence - last_sequence - step) % self._span
        if missing >= self._span // 2:
            return Place(restarted=True)
        # A counter of packets does not tell their size: the neighbours' is taken.
        size = 1 if self._step == "samples" else max(count, last_count)
        lost = missing if self._step == "samples" else -(-missing // step) * size
        if self._tick_span and not self._agrees(tick - last_tick, last_count + lost):
            return Place(restarted=True)
        return Place(lost=lost)

    def _agrees(self, ticks: int, samples: int) -> bool:
        """Whether that many ticks passed in that many samples, as far as a wrapping tick tells."""
        expected = samples * self._ticks_per_sample
        allowed = _SLACK * expected + 4.0 * self._ticks_per_sample + 2.0
        off = (ticks - expected) % self._tick_span
        return min(off, self._tick_span - off) <= allowed

    def _by_tick(self, before: tuple[int, int, int]) -> Place:
        if not self._tick_span:
            return Place()
        assert self._last is not None
        passed = (self._last[1] - before[1]) % self._tick_span
        if passed >= self._tick_span // 2:
            return Place(restarted=True)
        missing = passed / self._ticks_per_sample - before[2]
        # Less than a sample and less than a quarter of a packet is the sensor's own rate.
        return Place(lost=round(missing) if missing > max(0.75, 0.25 * before[2]) else 0)
