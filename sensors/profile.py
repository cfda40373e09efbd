"""What a profile says of a sensor: how it is known, started and read. Written by hand in TOML.

`sensors.profile_file` reads one from a file, `sensors.profile_library` finds those there are,
`sensors.packet_decode` turns a sensor's packets to samples by one.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any, Final, Literal

import msgspec
import numpy as np

from sensors.units import ACCELERATION_UNITS, ANGULAR_VELOCITY_UNITS
from sensors.wire import RateSample

PROFILE_FORMAT: Final = 1


UnsignedType = Literal["uint8", "uint16", "uint24", "uint32"]
ValueType = Literal["int8", "int16", "int24", "int32", "float32"]
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
AdvertisedBy = Literal["service", "name", "manufacturer"]

TYPE_BYTES: Final[dict[str, int]] = {
    "int8": 1,
    "uint8": 1,
    "int16": 2,
    "uint16": 2,
    "int24": 3,
    "uint24": 3,
    "int32": 4,
    "uint32": 4,
    "float32": 4,
}


class Uuid(str):
    """A Bluetooth UUID in its long form, lower case.

    Four or eight digits stand in the Bluetooth SIG's base (Bluetooth Core Specification, vol 3
    part B, 2.5.1).
    """

    __slots__ = ()

    @classmethod
    def parse(cls, value: object) -> Uuid:
        """Raises ValueError naming the forms that can be read."""
        text = value.strip().lower() if isinstance(value, str) else ""
        if re.fullmatch(r"[0-9a-f]{4}|[0-9a-f]{8}", text):
            return cls(f"{text:0>8}-0000-1000-8000-00805f9b34fb")
        if re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", text):
            return cls(text)
        raise ValueError(
            "expected a UUID such as '2a19' or '00002a19-0000-1000-8000-00805f9b34fb', "
            f"received {value!r}"
        )


class HexBytes(bytes):
    """Bytes written as pairs of hex digits, spaces allowed between them."""

    __slots__ = ()

    @classmethod
    def parse(cls, value: object) -> HexBytes:
        """Raises ValueError naming the form."""
        try:
            found = bytes.fromhex(value) if isinstance(value, str) else b""
        except ValueError:
            found = b""
        if not found:
            raise ValueError(
                f"expected bytes as pairs of hex digits such as '01 c8 00', received {value!r}"
            )
        return cls(found)


class Ratio(float):
    """A positive number, or a fraction of two written as '1/32768'."""

    __slots__ = ()

    @classmethod
    def parse(cls, value: object) -> Ratio:
        """Raises ValueError naming the two forms."""
        number = 0.0
        if isinstance(value, int | float) and not isinstance(value, bool):
            number = float(value)
        elif isinstance(value, str) and re.fullmatch(r"[\d.]+\s*/\s*[\d.]+", value.strip()):
            try:
                above, below = (Fraction(part.strip()) for part in value.split("/"))
                number = float(above / below)
            except (ValueError, ZeroDivisionError, OverflowError):
                number = 0.0
        if not (np.isfinite(number) and number > 0.0):
            raise ValueError(
                "expected a number above 0 or a fraction in quotes such as '1/32768', "
                f"received {value!r}"
            )
        return cls(number)


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    pass


class Recognise(_Table, frozen=True, kw_only=True):
    """What the sensor advertises. Any one that is met is enough.

    names: beginnings of the advertised name. manufacturer_ids: company identifiers.
    """

    names: tuple[str, ...] = ()
    services: tuple[Uuid, ...] = ()
    manufacturer_ids: tuple[int, ...] = ()


class ControlWrite(_Table, frozen=True, kw_only=True):
    """Bytes that are written to a characteristic; `response`: the sensor has to confirm."""

    characteristic: Uuid
    bytes: HexBytes
    response: bool = True


class SequenceField(_Table, tag_field="field", tag="sequence", frozen=True, kw_only=True):
    """A counter that wraps. It rises by `step` from packet to packet of this kind, or by samples.

    step "samples": the count of the packet's first sample.
    """

    type: UnsignedType
    step: int | Literal["samples"] = 1


class TickField(_Table, tag_field="field", tag="tick", frozen=True, kw_only=True):
    """The device's clock in ticks, wrapping; its tick is `[tick] period_s`."""

    type: UnsignedType


class CountField(_Table, tag_field="field", tag="count", frozen=True, kw_only=True):
    """How many samples the packet holds."""

    type: UnsignedType


class MarkerField(_Table, tag_field="field", tag="marker", frozen=True, kw_only=True):
    """A number that packets of this kind, and no others, hold here."""

    type: UnsignedType
    value: int


class SkipField(_Table, tag_field="field", tag="skip", frozen=True, kw_only=True):
    """Bytes that are not read."""

    bytes: int


class GyroField(_Table, tag_field="field", tag="gyro", frozen=True, kw_only=True):
    """Three values, one after another: angular velocity."""

    type: ValueType


class AccelField(_Table, tag_field="field", tag="accel", frozen=True, kw_only=True):
    """Three values, one after another: specific force."""

    type: ValueType


HeaderField = SequenceField | TickField | CountField | MarkerField | SkipField
SampleField = GyroField | AccelField | TickField | SkipField


class Packet(_Table, frozen=True, kw_only=True):
    """One kind of notification: header, then `samples` times the fields of `sample`, then trailer.

    samples: a number; "fill": as many as the length holds; "count": the header's count.
    """

    name: str
    characteristic: Uuid
    endian: Literal["little", "big"] = "little"
    header: tuple[HeaderField, ...] = ()
    sample: tuple[SampleField, ...]
    samples: int | Literal["fill", "count"] = 1
    trailer_bytes: int = 0


class TickClock(_Table, frozen=True, kw_only=True):
    """The device's clock: length of one tick in s, and which sample a header's tick belongs to."""

    period_s: Ratio
    of: Literal["first", "last"] = "first"


class Gyro(_Table, frozen=True, kw_only=True):
    """Angular velocity: `per_count` of `unit` for one count; range in `unit`; axes: see Accel.

    sample: the rate at the sample's time, or the mean since the sample before; None: not known.
    """

    unit: Literal["deg/s", "rad/s"]
    per_count: Ratio
    range: Ratio
    sample: RateSample | None = None
    axes: tuple[Axis, Axis, Axis] = ("+x", "+y", "+z")

    @property
    def to_si(self) -> float:
        """Factor from `unit` to rad/s."""
        return ANGULAR_VELOCITY_UNITS[self.unit]


class Accel(_Table, frozen=True, kw_only=True):
    """Specific force: `per_count` of `unit` for one count; range in `unit`.

    axes: which of the three values sent, x y z in their order, and with which sign, is the x, the
    y and the z of the sensor's case.
    """

    unit: Literal["g", "m/s^2"]
    per_count: Ratio
    range: Ratio
    axes: tuple[Axis, Axis, Axis] = ("+x", "+y", "+z")

    @property
    def to_si(self) -> float:
        """Factor from `unit` to m/s^2."""
        return ACCELERATION_UNITS[self.unit]


class Battery(_Table, frozen=True, kw_only=True):
    """Characteristic whose first byte is the charge left, %, 0 to 100."""

    characteristic: Uuid


class WornAs(_Table, frozen=True, kw_only=True):
    """Which axis of the case points up and which forward on a person standing, as a rule."""

    up: Axis
    forward: Axis
    note: str = ""


class Profile(_Table, frozen=True, kw_only=True):
    """One type of sensor. Lists of `start` and `stop` are written in their order.

    delay_s: how long after the motion a sample shows it, the group delay of the sensor's filter.
    """

    format: int
    id: str
    name: str
    rate_hz: float
    delay_s: float = 0.0
    documentation: str = ""
    recognise: Recognise
    start: tuple[ControlWrite, ...] = ()
    stop: tuple[ControlWrite, ...] = ()
    packet: tuple[Packet, ...]
    tick: TickClock | None = None
    gyro: Gyro
    accel: Accel
    battery: Battery | None = None
    mounting: WornAs | None = None

    @property
    def notify_characteristics(self) -> tuple[Uuid, ...]:
        """Characteristics to subscribe to, in the order of the packets, each once."""
        return tuple(dict.fromkeys(packet.characteristic for packet in self.packet))

    @property
    def tick_s(self) -> float | None:
        """Length of the device's tick, s; None where it sends none."""
        return float(self.tick.period_s) if self.tick else None

    @property
    def gyro_range_dps(self) -> float:
        """Largest angular velocity, deg/s."""
        return float(np.degrees(float(self.gyro.range) * self.gyro.to_si))

    @property
    def accel_range_g(self) -> float:
        """Largest specific force, in standard gravity."""
        return float(self.accel.range) * self.accel.to_si / ACCELERATION_UNITS["g"]

    def recognised_by(
        self,
        name: str | None,
        services: tuple[str, ...] = (),
        manufacturer_ids: tuple[int, ...] = (),
    ) -> AdvertisedBy | None:
        """The strongest thing in an advertisement that speaks for this profile, or None.

        A service is stronger than a name, a name stronger than a manufacturer.
        """
        said = {service.lower() for service in services}
        if said.intersection(self.recognise.services):
            return "service"
        if name and name.startswith(self.recognise.names or ("\0",)):
            return "name"
        if set(manufacturer_ids).intersection(self.recognise.manufacturer_ids):
            return "manufacturer"
        return None


_PARSED: Final = (Uuid, HexBytes, Ratio)


def _hook(kind: type, value: Any) -> Any:  # noqa: ANN401 - the shape msgspec asks for
    for own in _PARSED:
        if kind is own:
            return own.parse(value)
    raise NotImplementedError(kind)


def profile_from_tables(tables: dict[str, Any]) -> Profile:
    """Profile of what a TOML file holds; its form only. Raises msgspec.ValidationError."""
    return msgspec.convert(tables, Profile, dec_hook=_hook)
