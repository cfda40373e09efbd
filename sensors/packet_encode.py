"""From samples to a sensor's packets, by the same profile that decodes them.

For sensors that are only software, and for those who write firmware and want bytes to hold theirs
against.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from sensors.errors import SimulationError
from sensors.packet_layout import PacketLayout, case_axes, field_name
from sensors.profile import TYPE_BYTES, Accel, CountField, Gyro, MarkerField, Profile, SkipField
from sensors.source import Array, Ticks

PACKET_BYTES: Final = 244
"""Longest notification at an ATT MTU of 247, which most hosts grant and which fits one packet of
the link layer (251 bytes): Bluetooth Core Specification, volume 6 part B, 2.4.2."""


class SentPacket(NamedTuple):
    """A notification: where it is sent, its bytes, and which samples it holds, counted from 0."""

    characteristic: str
    payload: bytes
    first: int
    samples: int


class PacketEncoder:
    """Packs one sensor's samples as its firmware would; counters go on from call to call.

    packet_bytes: longest notification, the ATT MTU less 3. samples_per_packet: fewer than fit.
    sequence: first value of the packet counters. Raises SimulationError: no sample fits.
    """

    def __init__(
        self,
        profile: Profile,
        *,
        packet_bytes: int = PACKET_BYTES,
        samples_per_packet: int | None = None,
        sequence: int = 0,
    ) -> None:
        self.profile = profile
        layouts = [PacketLayout(profile, packet) for packet in profile.packet]
        self._layouts = [layout for layout in layouts if layout.values]
        most = min(layout.most_samples(packet_bytes) for layout in self._layouts)
        self.samples_per_packet = most
        if samples_per_packet is not None:
            self.samples_per_packet = min(most, samples_per_packet)
        longest = max(layout.length_of(max(most, 1)) for layout in self._layouts)
        if self.samples_per_packet < 1 or longest > packet_bytes:
            raise SimulationError(
                f"profile {profile.id}: a packet takes {longest} bytes, but only {packet_bytes} "
                "can be sent"
            )
        if {layout.packet.samples for layout in self._layouts} - {"fill", "count", most}:
            raise SimulationError(
                f"profile {profile.id}: its two kinds of packet hold different numbers of samples"
            )
        self._fixed = any(isinstance(layout.packet.samples, int) for layout in self._layouts)
        self._packet, self._first, self._sequence = 0, 0, sequence
        self._gyro, self._accel = np.zeros((0, 3)), np.zeros((0, 3))
        self._ticks: Ticks = np.zeros(0, dtype=np.int64)

    def encode(self, gyro: Array, accel: Array, ticks: Ticks | None = None) -> list[SentPacket]:
        """The packets that these samples fill; what is left over waits for the next call.

        gyro (n, 3) rad/s and accel (n, 3) m/s^2, axes of the case, rounded to counts and cut off
        where the type ends; ticks (n,): the device's clock, not wrapped. Raises SimulationError:
        no ticks for a profile that sends them, arrays of different length.
        """
        if ticks is None and any(layout.tick for layout in self._layouts):
            raise SimulationError(f"profile {self.profile.id} sends ticks: expected one a sample")
        ticks = np.zeros(len(gyro), dtype=np.int64) if ticks is None else ticks
        if not len(gyro) == len(accel) == len(ticks):
            raise SimulationError(
                f"expected as many of each, received {len(gyro)} gyro, {len(accel)} accel and "
                f"{len(ticks)} ticks"
            )
        self._gyro = np.concatenate((self._gyro, gyro))
        self._accel = np.concatenate((self._accel, accel))
        self._ticks = np.concatenate((self._ticks, ticks))
        return self._send(len(self._gyro) // self.samples_per_packet, self.samples_per_packet)

    def flush(self) -> list[SentPacket]:
        """A shorter packet of what is left over; none where all packets are of one size."""
        left = len(self._gyro)
        return self._send(1, left) if left and not self._fixed else []

    def _send(self, packets: int, count: int) -> list[SentPacket]:
        if not packets:
            return []
        used = packets * count
        kinds = [
            (layout, self._rows(at, layout, packets, count))
            for at, layout in enumerate(self._layouts)
        ]
        sent = [
            SentPacket(
                layout.packet.characteristic, rows[row].tobytes(), self._first + row * count, count
            )
            for row in range(packets)
            for layout, rows in kinds
        ]
        self._gyro, self._accel = self._gyro[used:], self._accel[used:]
        self._ticks = self._ticks[used:]
        self._packet += packets
        self._first += used
        return sent

    def _rows(self, at: int, layout: PacketLayout, packets: int, count: int) -> npt.NDArray[Any]:
        used = packets * count
        rows = np.zeros(packets, layout.dtype(count))
        for place, field in enumerate(layout.packet.header):
            if isinstance(field, MarkerField):
                rows[f"marker{place}"] = _fitted(np.array(field.value), field.type, layout)
            elif isinstance(field, CountField):
                rows["count"] = _fitted(np.array(count), field.type, layout)
        if layout.sequence is not None:
            number = self._counters(at, layout, packets, count)
            rows["sequence"] = _fitted(number, layout.sequence.type, layout)
        if layout.tick is not None:
            ticks = self._ticks[:used].reshape(packets, count)
            kind = layout.tick.type
            if layout.tick_in_sample:
                rows["samples"]["tick"] = _fitted(ticks, kind, layout)
            else:
                clock = self.profile.tick
                last = clock is not None and clock.of == "last"
                rows["tick"] = _fitted(ticks[:, -1 if last else 0], kind, layout)
        for name, values, unit in (
            ("gyro", self._gyro, self.profile.gyro),
            ("accel", self._accel, self.profile.accel),
        ):
            if name in layout.values:
                kind = _type_of(layout, name)
                sent = _as_sent(values[:used], unit).reshape(packets, count, 3)
                rows["samples"][name] = _fitted(_counts(sent, kind), kind, layout)
        return rows

    def _counters(self, at: int, layout: PacketLayout, packets: int, count: int) -> Ticks:
        assert layout.sequence is not None
        step = layout.sequence.step
        number = np.arange(packets, dtype=np.int64)
        if step == "samples":
            return np.asarray(self._sequence + self._first + number * count)
        # Kinds that share a counter take turns in it.
        return np.asarray(self._sequence + (self._packet + number) * step + (at if step > 1 else 0))


def _type_of(layout: PacketLayout, name: str) -> str:
    (field,) = (part for part in layout.packet.sample if field_name(part) == name)
    assert not isinstance(field, SkipField)
    return field.type


def _as_sent(values: Array, unit: Gyro | Accel) -> Array:
    """Values (n, 3) of the case's axes as counts, not yet rounded, in the order they are sent."""
    columns, factors = case_axes(unit)
    sent = np.empty_like(values)
    sent[:, columns] = values / factors
    return sent


def _counts(sent: Array, kind: str) -> npt.NDArray[Any]:
    if kind == "float32":
        return sent
    full = 1 << (8 * TYPE_BYTES[kind] - 1)
    return np.clip(np.rint(sent), -full, full - 1).astype(np.int64)


def _fitted(values: npt.NDArray[Any], kind: str, layout: PacketLayout) -> npt.NDArray[Any]:
    """Values for a column of the structured type: integers wrapped, 24 bits as three bytes."""
    if kind == "float32":
        return values
    size = TYPE_BYTES[kind]
    if size != 3:
        wrapped = values.astype(f"u{size}")
        return wrapped.view(f"i{size}") if kind.startswith("int") else wrapped
    parts = values.astype("<u4")[..., None].view("u1")[..., :3]
    return parts if layout.packet.endian == "little" else parts[..., ::-1]
