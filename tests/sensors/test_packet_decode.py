"""From packets to samples: gaps, repetitions, restarts, wraps, halves and damage, each by name."""

import struct

import numpy as np
import pytest

from sensors.packet_decode import PacketDecoder
from sensors.packet_encode import PacketEncoder
from sensors.packet_layout import PacketFault
from sensors.profile_file import parse_profile
from tests.support.any_profile import motion
from tests.support.profile_text import SENSORS_README, SMALL, small_packet

TWO_KINDS = SENSORS_README.read_text("utf-8").split("```toml\n")[1].split("```")[0]
STEP = 20
"""Ticks from packet to packet: two samples at 100 Hz, a tick of 1 ms."""


def small(*changes: tuple[str, str]) -> PacketDecoder:
    """A decoder of the small sensor, its profile changed."""
    text = SMALL
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return PacketDecoder(parse_profile(text))


def packets(*numbers: int) -> list[bytes]:
    """Packets of the small sensor by their number since it was switched on."""
    return [small_packet(number, number * STEP, value=number) for number in numbers]


NO_COUNTER = ('    { field = "sequence", type = "uint8" },\n', "")
NO_CLOCK = ('    { field = "tick", type = "uint16" },\n', "")
NO_TICK = ("[tick]\nperiod_s = 0.001\n", "")


def test_samples_come_in_si_units_with_numbers_and_ticks():
    samples = small().decode(packets(0, 1))
    assert samples.gyro[2] == pytest.approx([np.radians(0.1), 0, 0])
    assert samples.accel[3] == pytest.approx([0, 0, 9.80665])
    assert samples.packet.tolist() == [0, 0, 1, 1]
    assert samples.number.tolist() == [0, 1, 2, 3]
    assert samples.ticks.tolist() == [0, 10, 20, 30]
    assert samples.lost_before == 0


def test_axes_are_brought_to_those_of_the_case_with_their_signs():
    decoder = small(("range = 2000", 'range = 2000\naxes = ["-z", "+x", "-y"]'))
    payload = struct.pack("<BH6h", 0, 0, 10, 20, 30, 1, 2, 3)
    samples = decoder.decode([payload])
    assert np.degrees(samples.gyro[0]) == pytest.approx([-3.0, 1.0, -2.0])
    assert samples.accel[0] == pytest.approx(np.array([1, 2, 3]) * 0.001 * 9.80665)


def test_a_gap_is_counted_in_samples_and_numbers_leap_over_it():
    decoder = small()
    decoder.decode(packets(0, 1))
    samples = decoder.decode(packets(4, 5))
    assert samples.number.tolist() == [8, 9, 10, 11]
    assert samples.lost_before == 4
    assert decoder.counts.lost == 4
    assert decoder.counts.restarts == 0


def test_a_gap_among_packets_handed_over_together_is_seen_in_the_numbers():
    decoder = small()
    samples = decoder.decode(packets(0, 3))
    assert samples.number.tolist() == [0, 1, 6, 7]
    assert (samples.lost_before, decoder.counts.lost) == (0, 4)


def test_counter_and_clock_wrap_without_a_break():
    decoder = small()
    samples = decoder.decode(packets(*range(8000)))
    assert np.array_equal(samples.number, np.arange(16000))
    assert np.array_equal(samples.ticks, np.arange(16000) * 10)
    assert decoder.counts.lost == decoder.counts.restarts == 0


def test_a_gap_across_the_wrap_of_counter_and_clock_is_counted():
    decoder = small()
    decoder.decode(packets(3270))
    samples = decoder.decode(packets(3370))
    assert samples.lost_before == 2 * 99
    assert samples.ticks[0] == 3370 * STEP


@pytest.mark.parametrize("again", [0, 1, 30])
def test_a_repeated_packet_gives_no_samples(again):
    decoder = small()
    decoder.decode(packets(*range(40)))
    assert not len(decoder.decode(packets(39 - again)))
    assert decoder.counts.faults == {PacketFault.REPEATED: 1}
    assert decoder.decode(packets(40)).lost_before == 0


def test_every_packet_delivered_by_two_subscriptions_counts_once():
    decoder = small()
    doubled = [packet for packet in packets(*range(600)) for _ in range(2)]
    samples = decoder.decode(doubled)
    assert np.array_equal(samples.number, np.arange(1200))
    assert decoder.counts.faults == {PacketFault.REPEATED: 600}


def test_a_sensor_that_was_switched_on_anew_begins_at_zero():
    decoder = small()
    decoder.decode(packets(*range(100)))
    samples = decoder.decode(packets(0, 1))
    assert samples.start.tolist() == [1] * 4
    assert samples.number.tolist() == [0, 1, 2, 3]
    assert samples.ticks[0] == 0
    assert (decoder.counts.restarts, decoder.counts.lost) == (1, 0)


def test_a_restart_is_told_from_a_gap_by_the_clock():
    """The counter alone would say that 56 packets are missing."""
    decoder = small()
    decoder.decode(packets(200))
    samples = decoder.decode([small_packet(1, 5)])
    assert samples.start[0] == 1
    assert (decoder.counts.restarts, decoder.counts.lost) == (1, 0)


def test_a_sensor_that_slept_begins_anew_though_its_counter_goes_on():
    decoder = small()
    decoder.decode(packets(0, 1))
    decoder.decode([small_packet(2, 30_000)])
    assert (decoder.counts.restarts, decoder.counts.lost) == (1, 0)


@pytest.mark.parametrize("off", [0.9, 1.1, 2.0])
def test_a_rate_that_is_stated_wrongly_starts_nothing_anew(off):
    decoder = small()
    decoder.decode([small_packet(n, round(n * STEP * off)) for n in range(1000)])
    assert (decoder.counts.restarts, decoder.counts.lost) == (0, 0)


def test_without_a_counter_the_clock_shows_what_is_missing():
    decoder = small(NO_COUNTER)
    bare = [packet[1:] for packet in packets(0, 1, 4, 4, 5)]
    samples = decoder.decode(bare)
    assert samples.number.tolist() == [0, 1, 2, 3, 8, 9, 10, 11]
    assert decoder.counts.lost == 4
    assert decoder.counts.faults == {PacketFault.REPEATED: 1}


def test_without_counter_and_clock_packets_are_taken_as_they_come():
    decoder = small(NO_COUNTER, NO_CLOCK, NO_TICK)
    samples = decoder.decode([packet[3:] for packet in packets(0, 1, 1, 7)])
    assert np.array_equal(samples.number, np.arange(8))
    assert np.array_equal(samples.ticks, samples.number)


def test_a_clock_of_the_last_sample_is_carried_back_to_the_first():
    decoder = small(("period_s = 0.001", 'period_s = 0.001\nof = "last"'))
    samples = decoder.decode([small_packet(0, 10), small_packet(1, 30)])
    assert samples.ticks.tolist() == [0, 10, 20, 30]


def test_wrong_lengths_are_counted_and_leave_the_rest_alone():
    decoder = small()
    good = packets(0, 1)
    bad = [b"", b"\0", good[0][:-1], good[0] + b"\0", b"\0" * 3, b"\0" * 513]
    samples = decoder.decode([good[0], *bad, good[1]])
    assert samples.number.tolist() == [0, 1, 2, 3]
    assert decoder.counts.faults == {PacketFault.WRONG_LENGTH: 5, PacketFault.NO_SAMPLES: 1}


def test_what_no_sensor_measures_is_refused_and_missed():
    """A float may be anything: not a number, or a thousand times the range."""
    decoder = small(('"gyro", type = "int16"', '"gyro", type = "float32"'))

    def packet(number: int, value: float) -> bytes:
        return struct.pack("<BH3f3h", number, number * 10, value, 0, 0, 0, 0, 0)

    wrong = [float("nan"), float("inf"), 3e38, 30_000.0]
    stream = [packet(0, 19_999.0), *(packet(n, v) for n, v in enumerate(wrong, 1)), packet(5, 1.0)]
    samples = decoder.decode(stream)
    assert samples.number.tolist() == [0, 5]
    assert decoder.counts.lost == 4
    assert decoder.counts.faults == {PacketFault.NOT_FINITE: 2, PacketFault.OUT_OF_RANGE: 2}


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("value", [0, 1, -1, 255, -256, 65536, 8388607, -8388608])
def test_integers_of_24_bits_are_read_to_the_bit(order, value):
    decoder = small(
        ("header", f'endian = "{order}"\nheader'),
        ('"gyro", type = "int16"', '"gyro", type = "int24"'),
        ("per_count = 0.1", "per_count = 0.00025"),
    )
    sent = b"".join(part.to_bytes(3, order, signed=True) for part in (value, -value // 2, 7))
    samples = decoder.decode([bytes(3) + sent + bytes(6)])
    counts = np.degrees(samples.gyro[0]) / 0.00025
    assert counts == pytest.approx([value, -value // 2, 7], abs=1e-6)


@pytest.mark.parametrize("period_s", [0.012, 0.014, 0.018])
def test_a_tick_longer_than_a_sample_shows_no_loss_where_none_is(period_s):
    """Ticks are rounded down, so from packet to packet they are off by up to one."""
    decoder = small(NO_COUNTER, ("period_s = 0.001", f"period_s = {period_s}"))
    sent = [small_packet(0, int(0.02 * number / period_s), value=number) for number in range(200)]
    samples = decoder.decode([packet[1:] for packet in sent])
    assert samples.number.tolist() == list(range(400))
    assert decoder.counts.lost == 0
    away = decoder.decode([small_packet(0, int(0.02 * 210 / period_s))[1:]])
    assert away.lost_before == pytest.approx(20, abs=2)


def halves(decoder: PacketDecoder, count: int = 400) -> list[bytes]:
    """Packets of a sensor with two kinds, gyroscope and accelerometer taking turns."""
    encoder = PacketEncoder(decoder.profile, sequence=250)
    return [sent.payload for sent in encoder.encode(*motion(decoder.profile, count))]


def test_two_kinds_of_packet_are_brought_together():
    decoder = PacketDecoder(parse_profile(TWO_KINDS))
    stream = halves(decoder)
    samples = decoder.decode(stream)
    gyro, accel, _ = motion(decoder.profile, 400)
    assert samples.gyro == pytest.approx(gyro[: len(samples)], abs=1e-3)
    assert samples.accel == pytest.approx(accel[: len(samples)], abs=1e-3)


@pytest.mark.parametrize("gone", [4, 5], ids=["gyro", "accel"])
@pytest.mark.parametrize("clock", [True, False], ids=["by clock", "by counter"])
def test_a_half_without_the_other_is_counted_and_its_samples_are_missing(gone, clock):
    text = TWO_KINDS
    if not clock:
        text = text.replace('    { field = "tick", type = "uint24" },\n', "")
        text = text.replace('[tick]\nperiod_s = 0.00001\nof = "last"\n', "")
    decoder = PacketDecoder(parse_profile(text))
    stream = halves(decoder)
    each = PacketEncoder(decoder.profile).samples_per_packet
    del stream[gone]
    samples = decoder.decode(stream)
    assert decoder.counts.lost == each
    assert decoder.counts.faults == {PacketFault.UNPAIRED: 1}
    assert samples.number[2 * each - 1 : 2 * each + 1].tolist() == [2 * each - 1, 3 * each]


def test_a_half_lost_without_clock_and_counter_pairs_no_strangers():
    text = TWO_KINDS
    for line in (
        '    { field = "tick", type = "uint24" },\n',
        '    { field = "sequence", type = "uint8", step = 2 },\n',
        '[tick]\nperiod_s = 0.00001\nof = "last"\n',
    ):
        text = text.replace(line, "")
    for gone in range(2, 6):
        decoder = PacketDecoder(parse_profile(text))
        stream = halves(decoder)
        each = PacketEncoder(decoder.profile).samples_per_packet
        gyro, accel, _ = motion(decoder.profile, 400)
        del stream[gone]
        samples = decoder.decode(stream)
        kept = np.delete(
            np.arange(400 // each * each), slice(gone // 2 * each, (gone // 2 + 1) * each)
        )
        assert samples.gyro == pytest.approx(gyro[kept], abs=1e-3)
        assert samples.accel == pytest.approx(accel[kept], abs=1e-3)
        assert decoder.counts.faults == {PacketFault.UNPAIRED: 1}


def test_a_kind_without_motion_is_passed_over_in_silence():
    decoder = small(
        ("header = [\n", 'header = [\n    { field = "marker", type = "uint8", value = 1 },\n'),
        (
            "[tick]\n",
            '[[packet]]\nname = "heat"\ncharacteristic = "0a1b0003-0000-4000-8000-00000000c0de"\n'
            'header = [{ field = "marker", type = "uint8", value = 2 }]\n'
            'sample = [{ field = "skip", bytes = 2 }]\n\n[tick]\n',
        ),
    )
    samples = decoder.decode([b"\1" + packets(0)[0], b"\2ab", b"\3ab"])
    assert len(samples) == 2
    assert decoder.counts.faults == {PacketFault.UNKNOWN: 1}


def test_packets_of_another_characteristic_are_unknown():
    decoder = small()
    assert not len(decoder.decode(packets(0), "00002a19-0000-1000-8000-00805f9b34fb"))
    assert decoder.counts.faults == {PacketFault.UNKNOWN: 1}
