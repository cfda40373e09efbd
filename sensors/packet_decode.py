"""From a sensor's packets to samples. Any bytes give samples or a counted fault, never a crash.

Values are read for all packets of a kind at once; only their order is looked at one by one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from sensors.errors import PacketError
from sensors.packet_layout import PacketBlock, PacketFault, PacketLayout, ticks_per_sample
from sensors.packet_order import PacketOrder
from sensors.packet_pairing import HalfPacket, PacketKey, pairing_of
from sensors.profile import Profile
from sensors.sample_line import SampleLine
from sensors.source import Array, Ticks


@dataclass(frozen=True, slots=True)
class DecodedSamples:
    """n samples, in the order in which their packets came.

    packet (n,): which of the packets handed over completed the sample. start (n,): how often the
    sensor has begun anew. number (n,): count of samples since then, those known to be lost
    included. ticks (n,): the device's clock, unwrapped, so that modulo the field's span it is the
    tick as sent; the number where it sends none. gyro (n, 3) rad/s, accel (n, 3) m/s^2, axes of
    the case. lost_before: samples lost between what was decoded before and the first one here.
    """

    packet: Ticks
    start: Ticks
    number: Ticks
    ticks: Ticks
    gyro: Array
    accel: Array
    lost_before: int = 0

    def __len__(self) -> int:
        return len(self.number)


@dataclass(slots=True)
class DecodeCounts:
    """What came so far. lost: samples that counters or ticks show to be missing."""

    packets: int = 0
    samples: int = 0
    lost: int = 0
    restarts: int = 0
    faults: Counter[PacketFault] = field(default_factory=Counter)


class _Piece(NamedTuple):
    """A packet's k samples with gyroscope and accelerometer, in their place in the stream."""

    packet: int
    start: int
    number: int
    ticks: Ticks
    gyro: Array
    accel: Array


class _Found(NamedTuple):
    """Where the values of a packet are, once read."""

    layout: int
    block: PacketBlock
    row: int


class PacketDecoder:
    """Decodes the packets of one sensor by its profile; carries order and pairs from call to call.

    What a packet lacks to be samples is counted in `counts`. A counter of 8 bits leaves gaps open
    that are longer than half its span: there the times of arrival must tell.
    """

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.counts = DecodeCounts()
        self.layouts = tuple(PacketLayout(profile, packet) for packet in profile.packet)
        carrying = [at for at, layout in enumerate(self.layouts) if layout.values]
        self._leading = carrying[0]
        self._pairing, self._key = pairing_of([self.layouts[at] for at in carrying])
        self._start = 0
        self._begin()

    def restart(self) -> None:
        """The sensor was switched on anew: numbers and ticks begin from what comes next."""
        self._start += 1
        if self._pairing is not None:
            self._fault(PacketFault.UNPAIRED, self._pairing.clear())
        self._begin()

    def decode(self, packets: Sequence[bytes], characteristic: str | None = None) -> DecodedSamples:
        """Samples of packets in their order of arrival, on one characteristic (None: on any).

        Never raises for what the bytes hold: see `counts`.
        """
        self.counts.packets += len(packets)
        pieces: list[_Piece] = []
        lost_before = 0
        for index, found in sorted(self._read(packets, characteristic).items()):
            piece = self._placed(index, packets[index], found)
            if piece is None:
                continue
            lost = self._line.hand_on(piece.number, len(piece.gyro))
            self.counts.lost += lost
            lost_before = lost_before if pieces else lost
            pieces.append(piece)
        samples = _joined(pieces, lost_before)
        self.counts.samples += len(samples)
        return samples

    def identify(self, payload: bytes, characteristic: str | None = None) -> tuple[int, int]:
        """Which of `layouts` a packet has, and its samples. Raises PacketError saying why not."""
        reasons: list[PacketError] = []
        for at, layout in enumerate(self.layouts):
            if characteristic not in (None, layout.packet.characteristic):
                continue
            if not layout.is_marked(payload):
                continue
            try:
                return at, layout.samples_in(payload)
            except PacketError as error:
                reasons.append(error)
        if reasons:
            raise reasons[0]
        raise PacketError(PacketFault.UNKNOWN, self._beginnings(payload, characteristic))

    def _beginnings(self, payload: bytes, characteristic: str | None) -> str:
        """How packets begin that could have come."""
        begin = [
            f"{layout.packet.name!r} has "
            + " and ".join(f"{value.hex(' ')} at byte {at.start}" for at, value in layout.markers)
            for layout in self.layouts
            if characteristic in (None, layout.packet.characteristic)
        ]
        if not begin:
            return f"the profile reads no packets from characteristic {characteristic}"
        return f"no packet of the profile: {', '.join(begin)}; received {payload.hex(' ')}"

    def _begin(self) -> None:
        self._line = SampleLine(ticks_per_sample(self.profile))
        self._orders = [PacketOrder(self.profile, layout) for layout in self.layouts]

    def _fault(self, fault: PacketFault, count: int = 1) -> None:
        if count:
            self.counts.faults[fault] += count

    def _read(self, packets: Sequence[bytes], characteristic: str | None) -> dict[int, _Found]:
        """The readable packets by their index; the rest is counted."""
        alike: dict[tuple[int, int], list[int]] = {}
        for index, payload in enumerate(packets):
            try:
                alike.setdefault(self.identify(payload, characteristic), []).append(index)
            except PacketError as error:
                self._fault(PacketFault(error.fault))
        found: dict[int, _Found] = {}
        for (at, count), indices in alike.items():
            if self.layouts[at].values:
                block = self.layouts[at].read([packets[index] for index in indices], count)
                found.update((i, _Found(at, block, row)) for row, i in enumerate(indices))
        return found

    def _placed(self, index: int, payload: bytes, found: _Found) -> _Piece | None:
        """The samples that a packet completes, in their place; None where it completes none."""
        block, row = found.block, found.row
        layout, leading = self.layouts[found.layout], found.layout == self._leading
        if row in block.faults:
            self._fault(block.faults[row])
            if leading and layout.sequence is None and layout.tick is None:
                self._line.pass_over(block.samples)
            return None
        sequence, tick = int(block.sequence[row]), int(block.tick[row])
        place = self._orders[found.layout].place(sequence, tick, block.samples, payload)
        if place.repeated:
            self._fault(PacketFault.REPEATED)
            return None
        if place.restarted and leading:
            self.counts.restarts += 1
            self.restart()
            self._orders[found.layout].place(sequence, tick, block.samples, payload)
        number, ticks = 0, block.steps_of(row)
        if leading:
            sent = tick if layout.tick else None
            number, ticks = self._line.place(place.lost, ticks, sent, layout.tick_span)
        if self._pairing is None:
            return _Piece(index, self._start, number, ticks, *block.both(row))
        key = {PacketKey.TICK: tick, PacketKey.SEQUENCE: sequence}.get(self._key)
        half = HalfPacket(key, number, ticks, block.one(row))
        return self._paired(index, half, leading=leading)

    def _paired(self, index: int, half: HalfPacket, *, leading: bool) -> _Piece | None:
        assert self._pairing is not None
        pair, alone = self._pairing.pair(half, leading=leading)
        self._fault(PacketFault.UNPAIRED, alone)
        if pair is None:
            return None
        first, second = pair
        gyro, accel = first.values, second.values
        if "accel" in self.layouts[self._leading].values:
            gyro, accel = accel, gyro
        return _Piece(index, self._start, first.number, first.ticks, gyro, accel)


def _alone(piece: _Piece, lost_before: int) -> DecodedSamples:
    """One packet, as a radio hands them over: the same without the joining."""
    within = np.arange(len(piece.ticks), dtype=np.int64)
    packet, start = np.full_like(within, piece.packet), np.full_like(within, piece.start)
    number = within + piece.number
    return DecodedSamples(packet, start, number, piece.ticks, piece.gyro, piece.accel, lost_before)


def _joined(pieces: list[_Piece], lost_before: int) -> DecodedSamples:
    if not pieces:
        none = np.zeros(0, dtype=np.int64)
        return DecodedSamples(none, none, none, none, np.zeros((0, 3)), np.zeros((0, 3)), 0)
    if len(pieces) == 1:
        return _alone(pieces[0], lost_before)
    counts = np.array([len(piece.ticks) for piece in pieces])
    total = int(counts.sum())
    within = np.arange(total, dtype=np.int64) - np.repeat(np.cumsum(counts) - counts, counts)
    heads = np.array([piece[:3] for piece in pieces], dtype=np.int64)
    packet, start, number = np.repeat(heads, counts, axis=0).T
    return DecodedSamples(
        packet,
        start,
        number + within,
        np.concatenate([piece.ticks for piece in pieces]),
        np.concatenate([piece.gyro for piece in pieces]),
        np.concatenate([piece.accel for piece in pieces]),
        lost_before,
    )
