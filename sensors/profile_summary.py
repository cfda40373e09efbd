"""A profile, and a packet read by it, as lines of text for the person who writes the profile."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from sensors.errors import PacketError
from sensors.packet_decode import PacketDecoder
from sensors.packet_layout import PacketBlock, PacketLayout, field_bytes, field_name
from sensors.profile import (
    Accel,
    ControlWrite,
    Gyro,
    HeaderField,
    MarkerField,
    Packet,
    Profile,
    SampleField,
    SequenceField,
    SkipField,
)
from sensors.profile_checks import largest_sent, remarks

_MANY: Final[dict[int | str, str]] = {
    "fill": "as many samples as fit",
    "count": "samples as counted",
}
_GYRO_SAMPLES: Final = {
    "instant": "a sample is the rate at its time",
    "mean": "a sample is the mean since the sample before",
}


def summary_lines(profile: Profile) -> Iterator[str]:
    """What a profile says, in words and units."""
    yield f"{profile.id}: {profile.name}, {profile.rate_hz:g} samples a second"
    if profile.documentation:
        yield f"  after         {profile.documentation}"
    yield f"  known by      {_known_by(profile)}"
    for name, writes in (("start", profile.start), ("stop", profile.stop)):
        for write in writes:
            yield f"  {name:<12}  {_write(write)}"
        if not writes:
            yield f"  {name:<12}  nothing is written"
    for packet in profile.packet:
        yield from _packet_lines(profile, packet)
    yield from _clock_lines(profile)
    if profile.delay_s:
        yield f"  delay         a sample shows the motion of {1000.0 * profile.delay_s:g} ms before"
    yield f"  gyro          {_unit(profile, 'gyro', profile.gyro)}"
    if profile.gyro.sample:
        yield f"                {_GYRO_SAMPLES[profile.gyro.sample]}"
    yield f"  accel         {_unit(profile, 'accel', profile.accel)}"
    if profile.battery:
        yield f"  battery       percent from {profile.battery.characteristic}"
    if profile.mounting:
        worn = profile.mounting
        yield f"  worn          {worn.up} up, {worn.forward} forward {worn.note}".rstrip()
    for remark in remarks(profile):
        yield f"  note: {remark}"


def packet_lines(profile: Profile, payload: bytes) -> Iterator[str]:
    """A packet's numbers with their units. Raises PacketError: what was expected instead."""
    decoder = PacketDecoder(profile)
    at, count = decoder.identify(payload)
    layout = decoder.layouts[at]
    head = f"packet {layout.packet.name!r}: {len(payload)} bytes, {_samples(count)}"
    if not layout.values:
        yield f"{head}, passed over"
        return
    block = layout.read([payload], count)
    if block.faults:
        raise PacketError(
            block.faults[0],
            f"packet {layout.packet.name!r}: {block.faults[0]}; gyro may reach "
            f"{profile.gyro_range_dps:g} deg/s, accel {profile.accel_range_g:g} g",
        )
    yield head + _counted(profile, layout, block)
    yield from _sample_lines(block)


def _known_by(profile: Profile) -> str:
    known = profile.recognise
    parts = [f"service {service}" for service in known.services]
    parts += [f"a name that begins with {name!r}" for name in known.names]
    parts += [f"manufacturer 0x{number:04x}" for number in known.manufacturer_ids]
    return "\n                or ".join(parts)


def _write(write: ControlWrite) -> str:
    how = "" if write.response else ", without response"
    return f"{write.bytes.hex(' ')} to {write.characteristic}{how}"


def _packet_lines(profile: Profile, packet: Packet) -> Iterator[str]:
    layout = PacketLayout(profile, packet)
    yield f"  packet        {packet.name!r} from {packet.characteristic}, {packet.endian} endian"
    at = 0
    for field in packet.header:
        yield f"    byte {at:<8} {_field(field)}"
        at += field_bytes(field)
    number = _MANY.get(packet.samples) or _samples(int(packet.samples))
    inside = ", ".join(_field(field) for field in packet.sample)
    yield f"    byte {at:<8} {number}, {layout.sample_bytes} bytes each: {inside}"
    if packet.trailer_bytes:
        yield f"    at the end    not read: {packet.trailer_bytes} bytes"


def _samples(count: int) -> str:
    return "1 sample" if count == 1 else f"{count} samples"


def _field(field: HeaderField | SampleField) -> str:
    name = field_name(field)
    if isinstance(field, SkipField):
        return f"not read: {field.bytes} bytes"
    kind = field.type
    if name in {"gyro", "accel"}:
        return f"{name} x y z {kind}"
    if isinstance(field, MarkerField):
        return f"{name} {kind}, always {field.value}"
    if isinstance(field, SequenceField):
        return f"{name} {kind}, up by {field.step}"
    return f"{name} {kind}"


def _clock_lines(profile: Profile) -> Iterator[str]:
    if profile.tick is None or profile.tick_s is None:
        yield "  clock         none is sent"
        return
    widest = max(PacketLayout(profile, packet).tick_span for packet in profile.packet)
    yield (
        f"  clock         ticks of {1e6 * profile.tick_s:.6g} us, of the packet's "
        f"{profile.tick.of} sample; begins anew every {_duration(widest * profile.tick_s)}"
    )


def _duration(seconds: float) -> str:
    if seconds < 120.0:
        return f"{seconds:.3g} s"
    return f"{seconds / 60:.3g} min" if seconds < 7200.0 else f"{seconds / 3600:.3g} h"


def _unit(profile: Profile, name: str, unit: Gyro | Accel) -> str:
    reach = largest_sent(profile, name)
    sent = "" if reach is None else f", can hold {reach:.6g}"
    return (
        f"up to {float(unit.range):g} {unit.unit}, one count is {float(unit.per_count):.6g} "
        f"{unit.unit}{sent}; x y z of the case: {' '.join(unit.axes)}"
    )


def _counted(profile: Profile, layout: PacketLayout, block: PacketBlock) -> str:
    text = f", counter {int(block.sequence[0])}" if layout.sequence else ""
    if layout.tick and profile.tick_s is not None:
        tick = int(block.tick[0])
        text += f", first sample at tick {tick} ({tick * profile.tick_s:.6f} s)"
    return text


def _sample_lines(block: PacketBlock) -> Iterator[str]:
    shown = [
        (name, unit, values[0] * factor)
        for name, unit, values, factor in (
            ("gyro", "deg/s", block.gyro, 180.0 / np.pi),
            ("accel", "m/s^2", block.accel, 1.0),
        )
        if values is not None
    ]
    yield "sample" + "".join(f"{f'{name} {axis}':>12}" for name, _, _ in shown for axis in "xyz")
    yield "      " + "".join(f"{unit:>12}" for _, unit, _ in shown for _ in "xyz")
    for row in range(block.samples):
        yield f"{row + 1:>6}" + "".join(
            f"{value:>12.3f}" for _, _, values in shown for value in values[row]
        )
