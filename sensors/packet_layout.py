"""The bytes of one kind of packet as a numpy structured type, made once from its profile.

numpy has no integers of 24 bits: their bytes are read as they are and put together for all values
at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from sensors.errors import PacketError
from sensors.profile import (
    TYPE_BYTES,
    Accel,
    AccelField,
    CountField,
    Gyro,
    GyroField,
    HeaderField,
    MarkerField,
    Packet,
    Profile,
    SampleField,
    SequenceField,
    SkipField,
    TickField,
)
from sensors.source import Array, Ticks

MAX_PACKET_BYTES: Final = 512
"""Longest value of a characteristic: Bluetooth Core Specification, volume 3 part F, 3.2.9."""
RANGE_MARGIN: Final = 1.25
"""Values up to this multiple of the stated range are taken: ranges are names, a sensor sold as
2000 deg/s may count to 2293 (70 mdeg/s a count, int16). Beyond is no measurement."""

_NUMPY: Final = {
    "int8": "i1",
    "uint8": "u1",
    "int16": "i2",
    "uint16": "u2",
    "int32": "i4",
    "uint32": "u4",
    "float32": "f4",
}
_AXIS_COLUMN: Final = {"x": 0, "y": 1, "z": 2}


class PacketFault(StrEnum):
    """Why a packet gives no samples, in the words that are shown."""

    UNKNOWN = "unknown kind of packet"
    WRONG_LENGTH = "wrong length"
    NO_SAMPLES = "no samples in it"
    NOT_FINITE = "a value that is not a finite number"
    OUT_OF_RANGE = "a value far beyond the sensor's range"
    REPEATED = "repeated packet"
    UNPAIRED = "gyroscope and accelerometer packets without each other"


@dataclass(frozen=True, slots=True)
class PacketBlock:
    """m packets of one kind, each of k samples.

    sequence (m,); tick (m,) of the first sample, within the field's span; steps (m, k) or (1, k):
    ticks since the first sample; all zeros where the kind sends none. gyro (m, k, 3) rad/s and
    accel (m, k, 3) m/s^2, axes of the sensor's case; None where the kind has none. faults: rows
    whose values are no measurement.
    """

    sequence: Ticks
    tick: Ticks
    steps: Ticks
    gyro: Array | None
    accel: Array | None
    faults: dict[int, PacketFault]

    @property
    def samples(self) -> int:
        """Samples in each packet."""
        return int(self.steps.shape[1])

    def steps_of(self, row: int) -> Ticks:
        """Ticks (k,) of a packet's samples since its first."""
        return np.asarray(self.steps[row if len(self.steps) > 1 else 0])

    def both(self, row: int) -> tuple[Array, Array]:
        """gyro (k, 3) and accel (k, 3) of a kind that has both."""
        assert self.gyro is not None
        assert self.accel is not None
        return self.gyro[row], self.accel[row]

    def one(self, row: int) -> Array:
        """Values (k, 3) of a kind that has one of the two."""
        values = self.accel if self.gyro is None else self.gyro
        assert values is not None
        return np.asarray(values[row])


def ticks_per_sample(profile: Profile) -> float:
    """The device's ticks from sample to sample, by the stated rate; 1 where it sends no ticks."""
    return 1.0 / (profile.rate_hz * profile.tick_s) if profile.tick_s else 1.0


class _Channel:
    """The three values of gyro or accel in a kind of packet: how they are sent, their meaning."""

    def __init__(self, kind: str, unit: Gyro | Accel) -> None:
        self.kind = kind
        columns, self.factors = case_axes(unit)
        self.columns = None if columns == [0, 1, 2] else columns
        limit = float(unit.range) * RANGE_MARGIN
        reach = float(1 << (8 * TYPE_BYTES[kind] - 1)) * float(unit.per_count)
        self.limit = limit * unit.to_si
        self.may_exceed = kind == "float32" or reach > limit

    def faults(self, values: Array) -> dict[int, PacketFault]:
        """Rows of values (m, k, 3) that no sensor of this kind measures."""
        if not self.may_exceed:
            return {}
        beyond = ~(np.max(np.abs(values), axis=(1, 2)) <= self.limit)
        return {
            row: PacketFault.OUT_OF_RANGE
            if np.isfinite(values[row]).all()
            else PacketFault.NOT_FINITE
            for row in np.flatnonzero(beyond).tolist()
        }


class PacketLayout:
    """Reads packets of one kind."""

    def __init__(self, profile: Profile, packet: Packet) -> None:
        self.packet = packet
        self.header_bytes = sum(field_bytes(field) for field in packet.header)
        self.sample_bytes = sum(field_bytes(field) for field in packet.sample)
        self.sequence = _only(packet.header, SequenceField)
        self.tick = _only(packet.header, TickField) or _only(packet.sample, TickField)
        self.tick_in_sample = _only(packet.sample, TickField) is not None
        self.tick_span = 1 << (8 * TYPE_BYTES[self.tick.type]) if self.tick else 0
        self.values = frozenset(map(field_name, packet.sample)) & {"gyro", "accel"}
        """Which of "gyro" and "accel" a packet holds."""
        self._per_sample = ticks_per_sample(profile)
        self._tick_of_last = profile.tick is not None and profile.tick.of == "last"
        self._channels = {
            field_name(field): _Channel(
                field.type, profile.gyro if isinstance(field, GyroField) else profile.accel
            )
            for field in packet.sample
            if isinstance(field, GyroField | AccelField)
        }
        self._steps: dict[int, Ticks] = {}
        self._byte_order = "<" if packet.endian == "little" else ">"
        self._types: dict[int, np.dtype[Any]] = {}

    @cached_property
    def markers(self) -> tuple[tuple[slice, bytes], ...]:
        """Places in the packet and the bytes that must stand there."""
        found, at = [], 0
        for field in self.packet.header:
            size = field_bytes(field)
            if isinstance(field, MarkerField):
                value = field.value.to_bytes(size, self.packet.endian)
                found.append((slice(at, at + size), value))
            at += size
        return tuple(found)

    def is_marked(self, payload: bytes) -> bool:
        """Whether the packet's markers stand where this kind has them."""
        return all(payload[place] == value for place, value in self.markers)

    def samples_in(self, payload: bytes) -> int:
        """How many samples a packet holds. Raises PacketError: wrong length or none."""
        length = len(payload)
        if length > MAX_PACKET_BYTES:
            raise self._wrong_length(f"at most {MAX_PACKET_BYTES} bytes", length)
        around = self.header_bytes + self.packet.trailer_bytes
        if self.packet.samples == "fill":
            count, rest = divmod(length - around, self.sample_bytes)
            if rest or count < 0:
                raise self._wrong_length(
                    f"{around} bytes and {self.sample_bytes} for each sample", length
                )
        else:
            count = self._stated_count(payload)
            if length != around + count * self.sample_bytes:
                raise self._wrong_length(
                    f"{around + count * self.sample_bytes} bytes for {count} samples", length
                )
        if not count:
            raise PacketError(PacketFault.NO_SAMPLES, f"packet {self.packet.name!r}: no samples")
        return count

    def length_of(self, count: int) -> int:
        """Bytes of a packet of `count` samples."""
        return self.header_bytes + count * self.sample_bytes + self.packet.trailer_bytes

    def most_samples(self, packet_bytes: int) -> int:
        """Samples that a packet of at most `packet_bytes` can hold."""
        if isinstance(self.packet.samples, int):
            return self.packet.samples
        room = packet_bytes - self.header_bytes - self.packet.trailer_bytes
        most = room // self.sample_bytes
        count = _only(self.packet.header, CountField)
        return min(most, (1 << 8 * TYPE_BYTES[count.type]) - 1) if count else most

    def dtype(self, count: int) -> np.dtype[Any]:
        """The structured type of a packet of `count` samples."""
        if count not in self._types:
            order = self._byte_order
            sample = np.dtype([_column(field, n, order) for n, field in _named(self.packet.sample)])
            columns = [_column(field, n, order) for n, field in _named(self.packet.header)]
            columns.append(("samples", sample, (count,)))
            if self.packet.trailer_bytes:
                columns.append(("trailer", "u1", (self.packet.trailer_bytes,)))
            self._types[count] = np.dtype(columns)
        return self._types[count]

    def read(self, payloads: list[bytes], count: int) -> PacketBlock:
        """Packets that all hold `count` samples, as samples_in says."""
        rows = np.frombuffer(b"".join(payloads), self.dtype(count))
        samples = rows["samples"]
        tick, steps = self._ticks(rows, count)
        sequence = (
            self._integers(rows["sequence"], self.sequence.type)
            if self.sequence
            else np.zeros(len(rows), dtype=np.int64)
        )
        values: dict[str, Array] = {}
        faults: dict[int, PacketFault] = {}
        for name, channel in self._channels.items():
            values[name] = self._scaled(samples[name], channel)
            faults |= channel.faults(values[name])
        return PacketBlock(sequence, tick, steps, values.get("gyro"), values.get("accel"), faults)

    def _ticks(self, rows: npt.NDArray[Any], count: int) -> tuple[Ticks, Ticks]:
        """Tick of the first sample (m,), and ticks since then, (m, k) or (1, k)."""
        if self.tick is None:
            return np.zeros(len(rows), dtype=np.int64), np.zeros((1, count), dtype=np.int64)
        if self.tick_in_sample:
            each = self._integers(rows["samples"]["tick"], self.tick.type)
            return each[:, 0], np.cumsum(
                np.diff(each, axis=1, prepend=each[:, :1]) % self.tick_span, axis=1
            )
        tick = self._integers(rows["tick"], self.tick.type)
        steps = self._steps_of(count)
        if self._tick_of_last:
            tick = (tick - steps[-1, -1]) % self.tick_span
        return tick, steps

    def _steps_of(self, count: int) -> Ticks:
        if count not in self._steps:
            steps = np.rint(np.arange(count) * self._per_sample).astype(np.int64)
            self._steps[count] = steps[None, :]
        return self._steps[count]

    def _stated_count(self, payload: bytes) -> int:
        if isinstance(self.packet.samples, int):
            return self.packet.samples
        at = 0
        for field in self.packet.header:
            if isinstance(field, CountField):
                place = slice(at, at + TYPE_BYTES[field.type])
                return int.from_bytes(payload[place], self.packet.endian)
            at += field_bytes(field)
        return 0

    def _wrong_length(self, expected: str, length: int) -> PacketError:
        text = f"packet {self.packet.name!r}: expected {expected}, received {length} bytes"
        return PacketError(PacketFault.WRONG_LENGTH, text)

    def _scaled(self, raw: npt.NDArray[Any], channel: _Channel) -> Array:
        if TYPE_BYTES[channel.kind] == 3:
            raw = self._integers(raw, channel.kind)
        values = raw.astype(np.float64)
        if channel.columns is not None:
            values = values[..., channel.columns]
        if channel.kind != "float32":
            values *= channel.factors
            return values
        # A float32 may be anything, also not a number: what that leads to is found afterwards.
        with np.errstate(over="ignore", invalid="ignore"):
            return np.asarray(values * channel.factors)

    def _integers(self, raw: npt.NDArray[Any], kind: str) -> Ticks:
        """Integers as int64; those of 24 bits come as three bytes along the last axis."""
        if TYPE_BYTES[kind] != 3:
            return np.asarray(raw.astype(np.int64))
        parts = raw if self.packet.endian == "little" else raw[..., ::-1]
        high = parts[..., 2].astype(np.int8) if kind == "int24" else parts[..., 2]
        low = parts[..., 0].astype(np.int64) | (parts[..., 1].astype(np.int64) << 8)
        return np.asarray(low | (high.astype(np.int64) << 16))


def case_axes(unit: Gyro | Accel) -> tuple[list[int], Array]:
    """Columns as sent that are x, y and z of the case, and their factors to SI with the sign."""
    columns = [_AXIS_COLUMN[axis[1]] for axis in unit.axes]
    signs = np.array([-1.0 if axis[0] == "-" else 1.0 for axis in unit.axes])
    return columns, signs * (float(unit.per_count) * unit.to_si)


def field_name(field: HeaderField | SampleField) -> str:
    """The word that stands as `field` in the file."""
    return str(type(field).__struct_config__.tag)


def field_bytes(field: HeaderField | SampleField) -> int:
    """Bytes that a field takes; gyro and accel hold three values."""
    if isinstance(field, SkipField):
        return field.bytes
    return TYPE_BYTES[field.type] * (3 if field_name(field) in {"gyro", "accel"} else 1)


def _named(fields: tuple[Any, ...]) -> list[tuple[str, Any]]:
    """Fields with names for a structured type: markers and skipped bytes may come repeatedly."""
    names = [field_name(field) for field in fields]
    return [
        (f"{name}{at}" if name in {"skip", "marker"} else name, field)
        for at, (name, field) in enumerate(zip(names, fields, strict=True))
    ]


def _column(field: HeaderField | SampleField, name: str, order: str) -> tuple[Any, ...]:
    if isinstance(field, SkipField):
        return (name, "u1", (field.bytes,))
    shape = (3,) if field_name(field) in {"gyro", "accel"} else ()
    if TYPE_BYTES[field.type] == 3:
        return (name, "u1", (*shape, 3))
    return (name, order + _NUMPY[field.type], shape)


def _only(fields: tuple[Any, ...], kind: type[Any]) -> Any:  # noqa: ANN401
    return next((field for field in fields if isinstance(field, kind)), None)
