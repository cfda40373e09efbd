"""The clock learnt from arrivals: what it gives, refuses and promises, packet by packet."""

import numpy as np
import pytest

from sensors.clock import ArrivalClock, SyncCorrection, bring_together
from sensors.errors import SourceError
from sensors.radio_timing import DeviceTiming, RadioLink, simulate_delivery
from sensors.source import SamplePacket
from sensors.stamping import FAST_SLEW, SLEW
from tests.support.radio_pair import StampedStream

NO_VALUES = np.zeros((0, 3))
PERIOD_S = 0.005
SAMPLES = 10


def packet(number: int, received_s: float, lost_before: int = 0) -> SamplePacket:
    ticks = number * SAMPLES + np.arange(SAMPLES, dtype=np.int64)
    return SamplePacket("one", ticks, NO_VALUES, NO_VALUES, received_s, lost_before=lost_before)


def steady(clock: ArrivalClock, numbers: range, late_s: float = 0.01) -> np.ndarray:
    """Times of packets that all come late_s after their last sample."""
    given = [
        clock.session_times(packet(at, (at + 1) * SAMPLES * PERIOD_S + late_s))[0] for at in numbers
    ]
    return np.concatenate(given)


def stalled(stalls: tuple[tuple[float, float], ...]) -> StampedStream:
    device = DeviceTiming(samples_per_packet=11, tick_bits=16)
    link = RadioLink(loss=0.1, stalls=stalls)
    delivery = simulate_delivery(device, link, 40.0, np.random.default_rng(4))
    stream = StampedStream(delivery, ticks=True)
    stream.run()
    return stream


def test_evenly_arriving_packets_are_stamped_evenly():
    times = steady(ArrivalClock(1.0 / PERIOD_S), range(200))
    assert np.diff(times) == pytest.approx(PERIOD_S, rel=1.01 * FAST_SLEW)


@pytest.mark.parametrize("first", [0, 99, 100])
def test_a_count_that_goes_back_or_repeats_is_refused_as_a_new_stream(first):
    clock = ArrivalClock(200.0)
    steady(clock, range(11))
    again = SamplePacket("one", first + np.arange(10), NO_VALUES, NO_VALUES, 1.0)
    with pytest.raises(SourceError, match="a restarted count is a new stream"):
        clock.session_times(again)


def test_a_refused_packet_leaves_the_stream_as_it_was():
    clock, other = ArrivalClock(200.0), ArrivalClock(200.0)
    steady(clock, range(50))
    steady(other, range(50))
    with pytest.raises(SourceError):
        clock.session_times(packet(3, 9.0))
    assert np.array_equal(steady(clock, range(50, 60)), steady(other, range(50, 60)))


def test_samples_that_show_the_motion_late_get_times_as_much_earlier():
    prompt, late = ArrivalClock(200.0), ArrivalClock(200.0, delay_s=0.006)
    earlier = steady(prompt, range(600)) - steady(late, range(600))
    assert earlier == pytest.approx(0.006, abs=1e-9)


def test_missing_packets_leave_a_gap_of_their_length():
    clock = ArrivalClock(200.0)
    before = steady(clock, range(400))
    times, _ = clock.session_times(packet(420, 421 * 0.05 + 0.01, lost_before=200))
    assert times[0] - before[-1] == pytest.approx(201 * PERIOD_S, abs=0.002)


def test_times_never_go_back_and_slew_within_the_stated_limits():
    stream = stalled(((5.0, 5.3), (12.0, 12.4), (30.0, 30.2)))
    starts = np.array([true_s + error_s for true_s, error_s, _ in stream.rows])
    young = starts[1:] - starts[0] < 21.0
    steps = np.diff(starts) / (11 * PERIOD_S) - 1.0
    assert np.abs(steps[young]).max() <= FAST_SLEW + 1e-3
    assert np.abs(steps[~young]).max() <= SLEW + 2e-4


def test_a_stall_of_the_host_does_not_move_the_clock():
    calm, held_up = stalled(()).stamped, stalled(((30.0, 30.4),)).stamped
    assert held_up.error_s[-1] == pytest.approx(calm.error_s[-1], abs=0.001)


def test_a_sync_check_is_approached_without_a_step_and_a_second_one_comes_on_top():
    clock, plain = ArrivalClock(200.0), ArrivalClock(200.0)
    steady(clock, range(600))
    steady(plain, range(600))
    plain.correct(SyncCorrection(0.0, 0.0))
    clock.correct(SyncCorrection(0.004, 0.0002))
    moved = steady(clock, range(600, 1200)) - steady(plain, range(600, 1200))
    assert moved[0] == pytest.approx(0.0, abs=1e-6)
    assert np.abs(np.diff(moved)).max() <= 1.01 * FAST_SLEW * PERIOD_S
    assert moved[-1] == pytest.approx(0.004, abs=1e-4)
    plain.correct(SyncCorrection(0.0, 0.0))
    clock.correct(SyncCorrection(-0.001, 0.0002, other_rate_u=1.0))
    later = steady(clock, range(1200, 1800)) - steady(plain, range(1200, 1800))
    assert later[-1] == pytest.approx(0.003, abs=1e-4)


def test_the_uncertainty_falls_from_the_longest_interval_and_a_sync_check_lowers_it():
    stream = stalled(())
    first, last = stream.rows[0][2], stream.rows[-1][2]
    assert last < first
    stream.clock.correct(SyncCorrection(0.0, 0.0001))
    assert stream.clock._u_s() < last


def test_after_a_sync_check_what_the_fit_learns_of_the_hidden_wait_moves_nothing():
    """A sensor that waits 10 ms for every event, until one packet shows that it is 10 ms."""
    clock = ArrivalClock(200.0, tick_s=PERIOD_S)
    before = steady(clock, range(600))
    clock.correct(SyncCorrection(0.0, 0.0))
    assert clock._u_s() < 2e-4
    clock.session_times(packet(600, 601 * SAMPLES * PERIOD_S))
    after = steady(clock, range(601, 1200))
    assert after[-1] - before[-1] == pytest.approx(600 * SAMPLES * PERIOD_S, abs=0.002)


def test_bringing_two_clocks_together_moves_the_second_by_the_offset_and_pins_both():
    first, second = (ArrivalClock(200.0, tick_s=PERIOD_S) for _ in range(2))
    steady(first, range(600))
    steady(second, range(600))
    bring_together([first], second, SyncCorrection(0.004, 0.0002))
    apart = steady(second, range(600, 1200)) - steady(first, range(600, 1200))
    assert apart[-1] == pytest.approx(0.004, abs=1e-4)
    assert max(first._u_s(), second._u_s()) < 0.002


def test_a_sync_check_holds_for_the_times_that_were_compared_however_late_it_comes():
    """The clock learns 10 ms between the twist and its correction."""
    clock = ArrivalClock(200.0, tick_s=PERIOD_S)
    during = steady(clock, range(600))[-1000:]
    for number in range(600, 800):
        clock.session_times(packet(number, (number + 1) * SAMPLES * PERIOD_S))
    clock.correct(SyncCorrection(0.004, 0.0002, during[0], during[-1]))
    after = steady(clock, range(800, 1600), late_s=0.0)
    apart_s = (1599 - 599) * SAMPLES * PERIOD_S
    assert after[-1] - during[-1] == pytest.approx(apart_s + 0.004, abs=2e-4)


def test_a_second_check_tells_the_rate_between_two_clocks():
    """Packets that always wait alike tell nothing of a drift of 40 ppm; two checks do."""
    clock = ArrivalClock(200.0, tick_s=PERIOD_S)
    steady(clock, range(1000))
    clock.correct(SyncCorrection(0.0, 0.0001))
    steady(clock, range(1000, 2000))
    clock.correct(SyncCorrection(40e-6 * 1000 * SAMPLES * PERIOD_S, 0.0001))
    steady(clock, range(2000, 2100))
    assert clock.fit.rate == pytest.approx(40e-6, abs=10e-6)
    assert clock.fit.rate_u < 10e-6


def test_times_that_began_seconds_late_are_caught_up_with():
    """The first packets waited 3 s for the connection."""
    clock = ArrivalClock(200.0)
    for number in range(60):
        clock.session_times(packet(number, 3.1))
    times = steady(clock, range(60, 800))
    assert np.diff(times).min() > 0.0
    assert times[-1] == pytest.approx(800 * SAMPLES * PERIOD_S, abs=0.06)
