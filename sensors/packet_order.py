"""Where a packet belongs among those before it: follows on, repeats one, leaves a gap, starts anew.

Told by the counter a packet carries; where it has none, by its tick; where it has neither, packets
are taken as they come, and only the times of arrival can show a gap.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

from sensors.packet_layout import PacketLayout, ticks_per_sample
from sensors.profile import TYPE_BYTES, Profile

REMEMBERED: Final = 64
"""Packets of which a repetition is known: more than any stack keeps on its way."""
LONGEST_GAP_S: Final = 3600.0
"""A sensor that was away for longer begins anew: no swing needs the count across it."""
_SLACK_S: Final = 1.0
_SLACK_OF_SPAN: Final = 1 / 8
_SLACK_OF_GAP: Final = 0.5
"""How far clock and counter may be apart before they tell of a restart: far more than a rate that
is stated wrongly, far less than a clock that began at zero."""


@dataclass(frozen=True, slots=True)
class Place:
    """repeated: the packet came before. lost: samples missing before it. restarted: a new start."""

    repeated: bool = False
    lost: int = 0
    restarted: bool = False


class PacketOrder:
    """Follows one kind of packet. Counters wrap; a gap of half their span or more is a restart."""

    def __init__(self, profile: Profile, layout: PacketLayout) -> None:
        sequence = layout.sequence
        self._span = 1 << (8 * TYPE_BYTES[sequence.type]) if sequence else 0
        self._step = sequence.step if sequence else 1
        self._tick_span = layout.tick_span
        self._ticks_per_sample = ticks_per_sample(profile)
        second = 1.0 / profile.tick_s if profile.tick_s else 0.0
        self._slack = min(_SLACK_S * second, _SLACK_OF_SPAN * self._tick_span)
        self._longest_gap = LONGEST_GAP_S * profile.rate_hz
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
        if lost > self._longest_gap or not self._clock_agrees(tick - last_tick, last_count + lost):
            return Place(restarted=True)
        return Place(lost=lost)

    def _clock_agrees(self, ticks: int, samples: int) -> bool:
        """Whether so many ticks can pass in so many samples, as far as a clock that wraps tells."""
        if not self._tick_span:
            return True
        expected = samples * self._ticks_per_sample
        return abs(self._off(ticks - expected)) <= self._slack + _SLACK_OF_GAP * expected

    def _off(self, ticks: float) -> float:
        """Ticks from half a span back to half a span on."""
        return (ticks + self._tick_span / 2) % self._tick_span - self._tick_span / 2

    def _by_tick(self, before: tuple[int, int, int]) -> Place:
        if not self._tick_span:
            return Place()
        assert self._last is not None
        _, last_tick, last_count = before
        off = self._off(self._last[1] - last_tick - last_count * self._ticks_per_sample)
        missing = off / self._ticks_per_sample
        if off < -self._slack or missing > self._longest_gap:
            return Place(restarted=True)
        # Less than a sample and less than a quarter of a packet is the sensor's own rate; less than
        # a tick is how ticks are rounded.
        least = max(0.75, 0.25 * last_count, 1.0 / self._ticks_per_sample)
        return Place(lost=round(missing) if missing > least else 0)
