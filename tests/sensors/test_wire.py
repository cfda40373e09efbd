"""The wire: every message goes there and back; anything else is one clear error."""

from __future__ import annotations

import json
import subprocess
import sys

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors import wire
from sensors.wire import WireError

TIMES = np.array([1.0, 1.005, 1.01])
ROWS = np.arange(9.0).reshape(3, 3)


def batch(**changes) -> wire.SampleBatch:
    facts = {
        "stream_id": "s",
        "sequence": 4,
        "first_tick": 1000,
        "ticks_per_sample": 5.0,
        "received_s": 1.02,
        **wire.pack_arrays(TIMES, ROWS, -ROWS),
    }
    return wire.SampleBatch(**(facts | changes))


FROM_COLLECTOR = [
    wire.Hello(
        version=1,
        streams=(wire.Stream(stream_id="s", segment="pelvis", sensor="x", rate_hz=200.0),),
        golfer="g",
    ),
    batch(),
    wire.Mark(kind="stand", start_s=0.0, end_s=2.0),
    wire.StreamReport(stream_id="s", state="slow", at_s=1.0, rate_hz=90.0, battery_percent=7),
    wire.Corrected(check=3, taken=True),
    wire.Finish(),
]
FROM_SERVICE = [
    wire.Welcome(version=1, session="x", resume={"s": 3}),
    wire.Acknowledge(stream_id="s", sequence=4),
    wire.Refusal(code="batch", message="no", stream_id="s", sequence=4),
    wire.ClockCorrection(check=3, stream_id="s", offset_s=-0.012, u_s=0.0001),
]


@pytest.mark.parametrize("message", FROM_COLLECTOR, ids=lambda m: type(m).__name__)
def test_what_a_collector_says_comes_back_as_it_was(message):
    assert wire.decode_from_collector(wire.encode(message)) == message
    with pytest.raises(WireError, match="not a frame of wire version 1"):
        wire.decode_from_service(wire.encode(message))


@pytest.mark.parametrize("message", FROM_SERVICE, ids=lambda m: type(m).__name__)
def test_what_a_service_says_comes_back_as_it_was(message):
    assert wire.decode_from_service(wire.encode(message)) == message
    with pytest.raises(WireError, match="not a frame of wire version 1"):
        wire.decode_from_collector(wire.encode(message))


def outcome(function, argument):
    """What a function gives, or the text of its WireError; any other error is a failure."""
    try:
        return function(argument)
    except WireError as error:
        return str(error)


def test_a_collector_that_does_not_know_what_its_samples_are_need_not_say():
    hello = msgspec.to_builtins(FROM_COLLECTOR[0])
    del hello["streams"][0]["rate_sample"]
    said = wire.decode_from_collector(msgspec.msgpack.encode(hello | {"of_a_later_one": 1}))
    assert said == FROM_COLLECTOR[0]
    assert said.streams[0].rate_sample is None
    hello["streams"][0]["rate_sample"] = "median"
    with pytest.raises(WireError, match=r"'median' - at `\$\.streams\[0\]\.rate_sample`"):
        wire.decode_from_collector(msgspec.msgpack.encode(hello))


@given(st.binary(max_size=300))
@settings(deadline=None)
def test_any_bytes_are_a_message_or_a_wire_error(data):
    for decode in (wire.decode_from_collector, wire.decode_from_service):
        said = outcome(decode, data)
        assert isinstance(said, msgspec.Struct) or said.startswith("not a frame of wire version 1:")


@given(st.sampled_from(FROM_COLLECTOR), st.data())
@settings(deadline=None)
def test_a_frame_with_a_byte_changed_or_cut_never_does_worse(message, data):
    frame = bytearray(wire.encode(message))
    place = data.draw(st.integers(0, len(frame) - 1))
    if data.draw(st.booleans()):
        del frame[place:]
    else:
        frame[place] ^= data.draw(st.integers(1, 255))
    decoded = outcome(wire.decode_from_collector, bytes(frame))
    if isinstance(decoded, wire.SampleBatch):
        arrays = outcome(wire.batch_arrays, decoded)
        assert isinstance(arrays, str) or all(np.isfinite(array).all() for array in arrays)
    else:
        assert decoded != ""


def test_a_frame_that_is_too_large_is_refused_unread():
    with pytest.raises(WireError, match="a frame holds at most 262144 bytes, received 262145"):
        wire.decode_from_collector(b"\0" * (wire.MAX_FRAME_BYTES + 1))


def test_text_that_is_not_utf8_and_nesting_without_end_are_no_frames():
    frame = wire.encode(wire.Finish()).replace(b"finish", b"fini\xe8h")
    nested = b"\x82\xa4type\xa6finish\xa1x" + b"\x91" * 100_000
    for data in (frame, nested):
        with pytest.raises(WireError, match="not a frame of wire version 1"):
            wire.decode_from_collector(data)


def test_a_frame_that_claims_ten_gigabytes_allocates_nothing():
    """MessagePack bin 32 (marker 0xc6) with a length of 2^32 - 1 and no content behind it."""
    with pytest.raises(WireError, match="truncated"):
        wire.decode_from_collector(b"\xc6\xff\xff\xff\xff")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"sequence": "four"}, r"Expected `int`, got `str` - at `\$\.sequence`"),
        ({"stream_id": None}, r"Expected `str`, got `None` - at `\$\.stream_id`"),
        ({"time_s": 1.0}, r"Expected `bytes`, got `float` - at `\$\.time_s`"),
    ],
)
def test_a_field_of_the_wrong_kind_is_named(changes, said):
    fields = msgspec.to_builtins(batch(), builtin_types=(bytes,)) | changes
    with pytest.raises(WireError, match=said):
        wire.decode_from_collector(msgspec.msgpack.encode(fields))


def test_arrays_come_back_as_they_went_at_the_precision_of_the_wire():
    rng = np.random.default_rng(1)
    gyro, accel = rng.normal(size=(2, 3, 3))
    time_s, got_gyro, got_accel = wire.batch_arrays(batch(**wire.pack_arrays(TIMES, gyro, accel)))
    assert time_s.tobytes() == TIMES.tobytes()
    assert (got_gyro == gyro.astype(np.float32)).all()
    assert (got_accel == accel.astype(np.float32)).all()
    assert time_s.dtype == got_gyro.dtype == got_accel.dtype == np.float64


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"time_s": b""}, "time_s holds 8 bytes a sample and at least one sample, received 0"),
        (
            {"time_s": b"1234567"},
            "time_s holds 8 bytes a sample and at least one sample, received 7",
        ),
        ({"gyro": b"\0" * 35}, "gyro holds 12 bytes a sample, expected 36 for 3 samples"),
        ({"accel": b"\0" * 48}, "accel holds 12 bytes a sample, expected 36 for 3 samples"),
        ({"time_s": b"\0" * 8 * 2001}, "at most 2000 samples a batch, received 2001"),
        (wire.pack_arrays(TIMES[::-1], ROWS, ROWS), "time_s must increase"),
        (wire.pack_arrays(TIMES * 0.0, ROWS, ROWS), "time_s must increase"),
        (wire.pack_arrays(TIMES + np.nan, ROWS, ROWS), "time_s holds a value that is not a finite"),
        (wire.pack_arrays(TIMES, ROWS + np.inf, ROWS), "gyro holds a value that is not a finite"),
        (wire.pack_arrays(TIMES, ROWS, ROWS + np.nan), "accel holds a value that is not a finite"),
    ],
)
def test_a_batch_of_the_wrong_size_or_with_odd_values_is_named(changes, said):
    with pytest.raises(WireError, match=f"batch 4 of stream s: {said}"):
        wire.batch_arrays(batch(**changes))


def test_a_batch_is_plain_message_pack_with_little_endian_arrays():
    """By the MessagePack specification and IEEE 754, read without any code of ours."""
    packed = wire.encode(batch())
    fields = msgspec.msgpack.decode(packed)
    assert fields["type"] == "batch"
    assert np.frombuffer(fields["time_s"], "<f8").tolist() == TIMES.tolist()
    assert np.frombuffer(fields["gyro"], "<f4").reshape(3, 3).tolist() == ROWS.tolist()


def test_the_wire_needs_nothing_else_of_ours():
    """Anyone may write a collector with this one module."""
    code = (
        "import json, sys, sensors.wire; "
        "print(json.dumps([m for m in sys.modules if m.split('.')[0] in "
        "('sensors', 'analysis', 'server')]))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert sorted(json.loads(found.stdout)) == ["sensors", "sensors.wire"]
