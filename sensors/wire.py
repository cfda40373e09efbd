"""What a collector and the service say to each other: MessagePack frames on one WebSocket.

Collector: Hello, then SampleBatch, Mark and StreamReport in any order, then Finish.
A further Hello on the same connection names further streams. After a lost connection the next Hello
names the session of the first Welcome, and what was not acknowledged is sent again.
Service: Welcome or Refusal, then one Acknowledge for each batch once it is committed. Frames take
effect in the order in which they came. Finish is answered by closing the connection with code 1000.
To a collector whose Hello `corrects` it may send a ClockCorrection at any time; the answer to it is
Corrected, and until it has come the correction is sent again after every Hello that names its
stream.

Arrays are little-endian bytes: float64 for times, float32 for samples, row-major (n, 3).
A field may be added with a default: who does not know it passes it over, who does not send it means
the default. Any other change is a new WIRE_VERSION.
No I/O here: bytes in, messages out.
"""

from __future__ import annotations

from typing import Final, Literal

import msgspec
import numpy as np
import numpy.typing as npt

WIRE_VERSION = 1
MAX_BATCH_SAMPLES = 2000
"""Samples in one batch: 250 ms at 8 kHz, far above any sensor here; guards memory."""
MAX_FRAME_BYTES = 256 * 1024
"""One frame; a batch of MAX_BATCH_SAMPLES takes 64 kB."""

SegmentName = Literal["pelvis", "upper_back"]
SEGMENTS: Final[tuple[SegmentName, SegmentName]] = ("pelvis", "upper_back")
MarkKind = Literal["stand", "bow", "sync"]
StreamState = Literal["streaming", "silent", "lost", "slow"]
RateSample = Literal["instant", "mean"]
Fixing = Literal["strapped", "rigid"]


class WireError(ValueError):
    """A frame that is not a message of this protocol; the text says what was expected."""


class Stream(msgspec.Struct, frozen=True, kw_only=True):
    """One sensor's flow of samples. `stream_id` is new for every start of a sensor.

    sensor: its name; address: what tells it from others of the same name, where there is such.
    rate_sample: what a gyro sample is, the rate at its time or the mean since the sample before;
    None: not stated, taken as "instant".
    fixing: what holds the sensor, a strap over skin and cloth, or something rigid; None: not said.
    """

    stream_id: str
    segment: SegmentName
    sensor: str
    rate_hz: float
    address: str | None = None
    gyro_range_dps: float | None = None
    accel_range_g: float | None = None
    tick_s: float | None = None
    rate_sample: RateSample | None = None
    fixing: Fixing | None = None


class Hello(msgspec.Struct, tag="hello", frozen=True, kw_only=True):
    """First frame; a further one on the same line adds streams.

    `session` None: the service opens a session for `golfer` (None: unassigned); with neither golfer
    nor title it takes the open session that still waits for its first sensors, if there is one.
    corrects: the collector knows what a ClockCorrection is.
    """

    version: int
    streams: tuple[Stream, ...]
    session: str | None = None
    golfer: str | None = None
    title: str | None = None
    corrects: bool = False


class SampleBatch(msgspec.Struct, tag="batch", frozen=True, kw_only=True):
    """At most 250 ms of one stream. `sequence` counts batches of the stream from 0, no holes.

    time_s: session time of each sample, float64 (n,). gyro rad/s, accel m/s^2, sensor axes,
    float32 (n, 3). first_tick / ticks_per_sample: the device's own count (sample count where the
    device has no clock). received_s: session time at which the host got the last packet.
    lost_before: samples known to be missing since the batch before.
    time_u_s: one standard uncertainty of the clock at this batch, s.
    """

    stream_id: str
    sequence: int
    first_tick: int
    ticks_per_sample: float
    received_s: float
    time_s: bytes
    gyro: bytes
    accel: bytes
    time_u_s: float = 0.0
    lost_before: int = 0


class Mark(msgspec.Struct, tag="mark", frozen=True, kw_only=True):
    """A stretch of session time with a meaning, such as standing still for the calibration."""

    kind: MarkKind
    start_s: float
    end_s: float


class StreamReport(msgspec.Struct, tag="report", frozen=True, kw_only=True):
    """How a stream is doing, about once a second and at once on trouble."""

    stream_id: str
    state: StreamState
    at_s: float
    rate_hz: float
    lost: int = 0
    battery_percent: int | None = None
    clock_u_s: float | None = None


class Corrected(msgspec.Struct, tag="corrected", frozen=True, kw_only=True):
    """Answer to the ClockCorrection of a check. taken False: this clock takes none."""

    check: int
    taken: bool


class Finish(msgspec.Struct, tag="finish", frozen=True):
    """The collector has sent all it has and leaves; the session ends."""


class Welcome(msgspec.Struct, tag="welcome", frozen=True, kw_only=True):
    """The service is ready. `resume`: for each stream the next sequence it wants."""

    version: int
    session: str
    resume: dict[str, int]


class Acknowledge(msgspec.Struct, tag="ack", frozen=True, kw_only=True):
    """Every batch of the stream up to and with `sequence` is committed."""

    stream_id: str
    sequence: int


class Refusal(msgspec.Struct, tag="refusal", frozen=True, kw_only=True):
    """The service will not take a frame; `fatal`: it closes the connection."""

    code: str
    message: str
    fatal: bool = False
    stream_id: str | None = None
    sequence: int | None = None


class ClockCorrection(msgspec.Struct, tag="correct", frozen=True, kw_only=True):
    """What a sync check found: add offset_s to a stream's session times from now on.

    It comes on top of earlier ones, each check once. u_s: its standard uncertainty. start_s, end_s:
    the session times that were compared, as they were given; None: the newest.
    """

    check: int
    stream_id: str
    offset_s: float
    u_s: float
    start_s: float | None = None
    end_s: float | None = None


FromCollector = Hello | SampleBatch | Mark | StreamReport | Corrected | Finish
FromService = Welcome | Acknowledge | Refusal | ClockCorrection

_UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
"""What the decoder raises for bytes that are no message: form, text that is not UTF-8, nesting."""
_encoder = msgspec.msgpack.Encoder()
_from_collector: msgspec.msgpack.Decoder[FromCollector] = msgspec.msgpack.Decoder(FromCollector)
_from_service: msgspec.msgpack.Decoder[FromService] = msgspec.msgpack.Decoder(FromService)


def encode(message: FromCollector | FromService) -> bytes:
    """One frame for a message."""
    return _encoder.encode(message)


def decode_from_collector(frame: bytes) -> FromCollector:
    """Message of a collector's frame. Raises WireError naming the field that is off."""
    if len(frame) > MAX_FRAME_BYTES:
        raise WireError(f"a frame holds at most {MAX_FRAME_BYTES} bytes, received {len(frame)}")
    try:
        return _from_collector.decode(frame)
    except _UNREADABLE as error:
        raise WireError(f"not a frame of wire version {WIRE_VERSION}: {error}") from error


def decode_from_service(frame: bytes) -> FromService:
    """Message of a service's frame. Raises WireError naming the field that is off."""
    try:
        return _from_service.decode(frame)
    except _UNREADABLE as error:
        raise WireError(f"not a frame of wire version {WIRE_VERSION}: {error}") from error


def batch_arrays(
    batch: SampleBatch,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """time_s (n,), gyro (n, 3) rad/s, accel (n, 3) m/s^2 of a batch, as float64.

    Raises WireError for arrays of different length, an empty or too long batch, values that are
    not finite, and time that does not increase.
    """
    where = f"batch {batch.sequence} of stream {batch.stream_id}"
    if len(batch.time_s) % 8 or not batch.time_s:
        raise WireError(
            f"{where}: time_s holds 8 bytes a sample and at least one sample, "
            f"received {len(batch.time_s)} bytes"
        )
    n = len(batch.time_s) // 8
    if n > MAX_BATCH_SAMPLES:
        raise WireError(f"{where}: at most {MAX_BATCH_SAMPLES} samples a batch, received {n}")
    for name, data in (("gyro", batch.gyro), ("accel", batch.accel)):
        if len(data) != n * 12:
            raise WireError(
                f"{where}: {name} holds 12 bytes a sample, expected {n * 12} for {n} samples, "
                f"received {len(data)}"
            )
    time_s = np.frombuffer(batch.time_s, "<f8").astype(np.float64)
    gyro = np.frombuffer(batch.gyro, "<f4").astype(np.float64).reshape(n, 3)
    accel = np.frombuffer(batch.accel, "<f4").astype(np.float64).reshape(n, 3)
    for name, array in (("time_s", time_s), ("gyro", gyro), ("accel", accel)):
        if not np.isfinite(array).all():
            raise WireError(f"{where}: {name} holds a value that is not a finite number")
    if (np.diff(time_s) <= 0.0).any():
        raise WireError(f"{where}: time_s must increase from sample to sample")
    return time_s, gyro, accel


def pack_arrays(
    time_s: npt.NDArray[np.float64],
    gyro: npt.NDArray[np.float64],
    accel: npt.NDArray[np.float64],
) -> dict[str, bytes]:
    """The three array fields of a SampleBatch: time_s (n,) s, gyro (n, 3) rad/s, accel (n, 3)."""
    return {
        "time_s": np.ascontiguousarray(time_s, "<f8").tobytes(),
        "gyro": np.ascontiguousarray(gyro, "<f4").tobytes(),
        "accel": np.ascontiguousarray(accel, "<f4").tobytes(),
    }
