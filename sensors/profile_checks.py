"""What must hold between the keys of a profile, and what is worth knowing about a sound one."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations
from typing import Any, Final, NamedTuple

import numpy as np

from sensors.packet_layout import MAX_PACKET_BYTES, PacketLayout, field_bytes, field_name
from sensors.profile import (
    TYPE_BYTES,
    Accel,
    Gyro,
    MarkerField,
    Packet,
    Profile,
    SequenceField,
    SkipField,
    TickField,
)
from sensors.toml_lines import KeyPath

LOWEST_RATE_HZ: Final = 10.0
HIGHEST_RATE_HZ: Final = 8000.0
"""Rates at which motion chips sample."""
LONGEST_DELAY_S: Final = 0.1
"""Filters of motion chips delay by 1 to 20 ms (from memory); more is milliseconds taken for s."""
_GYRO_RANGE_DPS: Final = (100.0, 20_000.0)
_ACCEL_RANGE_G: Final = (1.9, 1000.0)
"""Outside of these a unit is mistaken: motion chips are sold from 125 to 4000 deg/s and from 2 to
400 g (common practice, no source)."""
_SENT_ONCE: Final = ("sequence", "tick", "count", "gyro", "accel")

_SHORTEST_WRAP_S: Final = 1.0
"""A clock that wraps sooner than a radio may be silent tells nothing."""


class Mistake(NamedTuple):
    """A key that cannot be as it is, and what was expected."""

    key: KeyPath
    problem: str


def mistakes(profile: Profile) -> Iterator[Mistake]:
    """Everything that keeps a profile of the right form from being used, in the file's order."""
    yield from _head(profile)
    yield from _writes(profile)
    for at, packet in enumerate(profile.packet):
        yield from _packet(("packet", at), packet)
    yield from _kinds(profile)
    yield from _tick(profile)
    yield from _unit("gyro", profile, profile.gyro, profile.gyro_range_dps, _GYRO_RANGE_DPS)
    yield from _unit("accel", profile, profile.accel, profile.accel_range_g, _ACCEL_RANGE_G)
    mounting = profile.mounting
    if mounting and mounting.up[1] == mounting.forward[1]:
        yield Mistake(("mounting", "forward"), "expected another axis than that of 'up'")


def _head(profile: Profile) -> Iterator[Mistake]:
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,63}", profile.id):
        yield Mistake(
            ("id",), f"expected small letters, digits and hyphens, received {profile.id!r}"
        )
    if not profile.name.strip():
        yield Mistake(("name",), "expected a name to show, received an empty text")
    if not LOWEST_RATE_HZ <= profile.rate_hz <= HIGHEST_RATE_HZ:
        yield Mistake(
            ("rate_hz",),
            f"expected {LOWEST_RATE_HZ:.0f} to {HIGHEST_RATE_HZ:.0f} samples a second, "
            f"received {profile.rate_hz:g}",
        )
    if not 0.0 <= profile.delay_s <= LONGEST_DELAY_S:
        yield Mistake(
            ("delay_s",), f"expected 0 to {LONGEST_DELAY_S:g} s, received {profile.delay_s:g}"
        )
    known_by = profile.recognise
    if not (known_by.names or known_by.services or known_by.manufacturer_ids):
        yield Mistake(
            ("recognise",), "expected at least one of 'names', 'services', 'manufacturer_ids'"
        )
    for at, name in enumerate(known_by.names):
        if not name.strip():
            yield Mistake(
                ("recognise", "names", at), "an empty name would be met by every device; leave out"
            )
    for at, number in enumerate(known_by.manufacturer_ids):
        if not 0 <= number <= 0xFFFF:
            yield Mistake(
                ("recognise", "manufacturer_ids", at),
                f"expected a company identifier, 0 to 65535, received {number}",
            )


def _writes(profile: Profile) -> Iterator[Mistake]:
    for name, writes in (("start", profile.start), ("stop", profile.stop)):
        for at, write in enumerate(writes):
            if len(write.bytes) > MAX_PACKET_BYTES:
                yield Mistake(
                    (name, at, "bytes"),
                    f"expected at most {MAX_PACKET_BYTES} bytes, received {len(write.bytes)}",
                )


def _packet(key: KeyPath, packet: Packet) -> Iterator[Mistake]:
    if not packet.sample:
        yield Mistake((*key, "sample"), "expected the fields of a sample, received none")
        return
    yield from _fields(key, packet)
    counted = any(field_name(field) == "count" for field in packet.header)
    if counted != (packet.samples == "count"):
        yield Mistake(
            (*key, "samples"),
            "expected \"count\", because the header has a field 'count'"
            if counted
            else "\"count\" needs a field 'count' in the header; without one, give a number or "
            '"fill"',
        )
    if isinstance(packet.samples, int) and packet.samples < 1:
        yield Mistake((*key, "samples"), f"expected 1 or more, received {packet.samples}")
        return
    if packet.trailer_bytes < 0:
        yield Mistake(
            (*key, "trailer_bytes"), f"expected 0 or more, received {packet.trailer_bytes}"
        )
        return
    least = packet.samples if isinstance(packet.samples, int) else 1
    length = _length(packet, least)
    if length > MAX_PACKET_BYTES:
        yield Mistake(
            (*key, "sample"),
            f"a packet of {least} samples takes {length} bytes, but Bluetooth carries at most "
            f"{MAX_PACKET_BYTES}",
        )


def _fields(key: KeyPath, packet: Packet) -> Iterator[Mistake]:
    seen: set[str] = set()
    for part in ("header", "sample"):
        for at, field in enumerate(getattr(packet, part)):
            place, name = (*key, part, at), field_name(field)
            if name in seen and name in _SENT_ONCE:
                yield Mistake((*place, "field"), f"a packet has one field {name!r} at most")
            seen.add(name)
            yield from _field(place, field)


def _field(place: KeyPath, field: Any) -> Iterator[Mistake]:  # noqa: ANN401 - any of seven
    if isinstance(field, SkipField):
        if not 1 <= field.bytes <= MAX_PACKET_BYTES:
            yield Mistake(
                (*place, "bytes"), f"expected 1 to {MAX_PACKET_BYTES}, received {field.bytes}"
            )
        return
    span = 1 << 8 * TYPE_BYTES[field.type]
    if isinstance(field, MarkerField) and not 0 <= field.value < span:
        yield Mistake(
            (*place, "value"), f"{field.type} holds 0 to {span - 1}, received {field.value}"
        )
    if (
        isinstance(field, SequenceField)
        and isinstance(field.step, int)
        and not 1 <= field.step < span // 2
    ):
        yield Mistake(
            (*place, "step"),
            f'expected 1 to {span // 2 - 1} or "samples", received {field.step}',
        )


def _length(packet: Packet, samples: int) -> int:
    header = sum(field_bytes(field) for field in packet.header)
    return header + samples * sum(map(field_bytes, packet.sample)) + packet.trailer_bytes


def _holds(packet: Packet) -> frozenset[str]:
    return frozenset(field_name(field) for field in packet.sample) & {"gyro", "accel"}


def _kinds(profile: Profile) -> Iterator[Mistake]:
    carrying = [packet for packet in profile.packet if _holds(packet)]
    held = sorted(name for packet in carrying for name in _holds(packet))
    if held != ["accel", "gyro"]:
        yield Mistake(
            ("packet",),
            "expected one kind of packet with 'gyro' and 'accel', or one with each; found "
            + (", ".join(repr(name) for name in held) or "neither"),
        )
        return
    if len(carrying) == 2:
        yield from _halves(profile, carrying)
    for (first, one), (second, other) in combinations(enumerate(profile.packet), 2):
        if one.name == other.name:
            yield Mistake(("packet", second, "name"), f"packet {first} is called {one.name!r} too")
        if one.characteristic == other.characteristic and not _told_apart(profile, one, other):
            yield Mistake(
                ("packet", second),
                f"cannot be told from packet {one.name!r} on the same characteristic; expected a "
                "field 'marker' at the same place in both, with another value",
            )


def _halves(profile: Profile, carrying: list[Packet]) -> Iterator[Mistake]:
    """Two kinds that are brought together need the same means for it."""
    at = profile.packet.index(carrying[1])
    counters = [
        [(field.type, field.step) for field in packet.header if isinstance(field, SequenceField)]
        for packet in carrying
    ]
    if counters[0] != counters[1]:
        yield Mistake(
            ("packet", at, "header"),
            "gyro and accel packets are paired by their counters: expected a field 'sequence' of "
            "the same 'type' and 'step' in both or in neither",
        )
    clocks = [
        [
            (part, field.type)
            for part in ("header", "sample")
            for field in getattr(packet, part)
            if isinstance(field, TickField)
        ]
        for packet in carrying
    ]
    if clocks[0] != clocks[1]:
        yield Mistake(
            ("packet", at, "header"),
            "gyro and accel packets are paired by their ticks: expected a field 'tick' of the same "
            "'type' in 'header' or in 'sample' of both, or in neither",
        )


def _has_tick(packet: Packet) -> bool:
    return "tick" in {field_name(field) for field in (*packet.header, *packet.sample)}


def _told_apart(profile: Profile, one: Packet, other: Packet) -> bool:
    places = [dict_of_markers(PacketLayout(profile, packet)) for packet in (one, other)]
    if any(places[0][at] != places[1][at] for at in places[0].keys() & places[1].keys()):
        return True
    if isinstance(one.samples, int) and isinstance(other.samples, int):
        return _length(one, one.samples) != _length(other, other.samples)
    return False


def dict_of_markers(layout: PacketLayout) -> dict[int, int]:
    """Byte of the packet -> value that a marker wants there."""
    return {
        place.start + offset: byte
        for place, value in layout.markers
        for offset, byte in enumerate(value)
    }


def _tick(profile: Profile) -> Iterator[Mistake]:
    ticked = [at for at, packet in enumerate(profile.packet) if _has_tick(packet)]
    if ticked and profile.tick is None:
        yield Mistake(
            ("packet", ticked[0]), "has a field 'tick': expected [tick] with its 'period_s'"
        )
    if profile.tick is None:
        return
    if not ticked:
        yield Mistake(("tick",), "no packet has a field 'tick'; leave [tick] out or add the field")
    if not 1e-9 <= profile.tick.period_s <= 1.0:
        yield Mistake(
            ("tick", "period_s"),
            f"expected 0.000000001 to 1 s, received {float(profile.tick.period_s):g}",
        )
    for at in ticked:
        around_s = PacketLayout(profile, profile.packet[at]).tick_span * profile.tick.period_s
        if around_s < _SHORTEST_WRAP_S:
            yield Mistake(
                ("tick", "period_s"),
                f"the clock of packet {profile.packet[at].name!r} begins anew every "
                f"{around_s:.3g} s, which cannot be followed; expected {_SHORTEST_WRAP_S:g} s or "
                "more, or leave the clock out",
            )


def _unit(
    name: str, profile: Profile, unit: Gyro | Accel, common: float, bounds: tuple[float, float]
) -> Iterator[Mistake]:
    low, high = bounds
    shown = "deg/s" if name == "gyro" else "g"
    if not low <= common <= high:
        yield Mistake(
            (name, "range"),
            f"expected {low:g} to {high:g} {shown}, received {common:g}; is 'unit' right?",
        )
    if sorted(axis[1] for axis in unit.axes) != ["x", "y", "z"]:
        yield Mistake(
            (name, "axes"),
            f"expected x, y and z once each, each with its sign, received {list(unit.axes)}",
        )
    reach = largest_sent(profile, name)
    if reach is not None and reach < 0.99 * float(unit.range):
        yield Mistake(
            (name, "range"),
            f"{float(unit.range):g} {unit.unit} cannot be sent: with this 'per_count' the largest "
            f"count is {reach:.6g} {unit.unit}",
        )


def largest_sent(profile: Profile, name: str) -> float | None:
    """Largest value of "gyro" or "accel" that its type can hold, in its unit; None for floats."""
    kinds = [
        field.type
        for packet in profile.packet
        for field in packet.sample
        if field_name(field) == name and not isinstance(field, SkipField)
    ]
    if not kinds or kinds[0] == "float32":
        return None
    unit = profile.gyro if name == "gyro" else profile.accel
    return float(1 << (8 * TYPE_BYTES[kinds[0]] - 1)) * float(unit.per_count)


def remarks(profile: Profile) -> Iterator[str]:
    """What a sound profile says about how well its sensor suits the job, a sentence each.

    Wishes: at least 1000 deg/s and 200 Hz, a counter and a tick of 1 ms or finer in every packet,
    battery level (what golf swings need, and what clocks and gaps can be told from).
    """
    fields = {
        field_name(field)
        for packet in profile.packet
        if _holds(packet)
        for field in (*packet.header, *packet.sample)
    }
    if profile.gyro_range_dps < 1000.0:
        yield f"The gyroscope ends at {profile.gyro_range_dps:.0f} deg/s; fast swings need 1000."
    if profile.rate_hz < 200.0:
        yield f"{profile.rate_hz:g} samples a second: timing is finer with 200."
    if "sequence" not in fields:
        yield "No counter is sent: lost packets show only in the times of arrival."
    if profile.tick_s is None:
        yield "No clock is sent: timing rests on the sample count and the times of arrival."
    elif profile.tick_s > 0.001:
        yield f"The tick of {1000 * profile.tick_s:g} ms is coarse; 1 ms or finer is better."
    if profile.gyro.sample is None:
        yield "Not said whether a gyro sample is an instant or a mean; taken as an instant."
    if profile.battery is None:
        yield "No battery level is read."
    if _mirrored(profile.gyro) != _mirrored(profile.accel):
        yield "Only one of gyro and accel has mirrored axes: please make sure that this is meant."


def _mirrored(unit: Gyro | Accel) -> bool:
    matrix = np.zeros((3, 3))
    for row, axis in enumerate(unit.axes):
        matrix[row, "xyz".index(axis[1])] = -1.0 if axis[0] == "-" else 1.0
    return bool(np.linalg.det(matrix) < 0.0)
