"""The simulated radio: order, lattice, loss, queue and stalls as they are asked for."""

import numpy as np
import pytest

from sensors.errors import SimulationError
from sensors.radio_timing import DeviceTiming, Oscillator, RadioLink, simulate_delivery


def delivered(device=None, link=None, seconds: float = 30.0, seed: int = 1):
    rng = np.random.default_rng(seed)
    return simulate_delivery(device or DeviceTiming(), link or RadioLink(), seconds, rng)


def test_packets_arrive_in_order_after_they_were_sampled():
    one = delivered()
    assert (np.diff(one.received_s) >= 0.0).all()
    assert (one.received_s > one.sample_s[:, -1]).all()


def test_the_same_seed_gives_the_same_radio():
    assert np.array_equal(delivered(seed=7).received_s, delivered(seed=7).received_s)
    assert not np.array_equal(delivered(seed=7).received_s, delivered(seed=8).received_s)


@pytest.mark.parametrize("interval_s", [0.0075, 0.015, 0.03, 0.05])
def test_without_loss_no_packet_waits_longer_than_an_interval(interval_s):
    link = RadioLink(interval_s=interval_s, loss=0.0, jitter_s=0.0)
    one = delivered(DeviceTiming(samples_per_packet=11), link)
    waits = one.received_s - one.sample_s[:, -1] - link.delay_s
    assert waits.min() >= -1e-9
    assert waits.max() <= interval_s + 2.0 * link.spacing_s


def test_ticks_wrap_at_their_width():
    one = delivered(DeviceTiming(tick_bits=16, first_tick=60_000), seconds=20.0)
    assert one.raw_tick.max() < 1 << 16
    assert np.count_nonzero(np.diff(one.raw_tick) < 0) == 1


def test_crystals_are_off_by_their_parts_per_million():
    one = delivered(DeviceTiming(crystal=Oscillator(50.0)), seconds=100.0)
    span_s = one.sample_s[-1, 0] - one.sample_s[0, 0]
    shown_s = (one.number[-1] - one.number[0]) / 200.0
    assert span_s / shown_s - 1.0 == pytest.approx(-50e-6, rel=1e-6)


def test_a_short_queue_loses_packets_in_a_gap_and_a_long_one_does_not():
    link = RadioLink(gaps=((10.0, 14.0),))
    short = delivered(DeviceTiming(queue=20), link)
    assert np.diff(short.number).max() > 10
    assert (np.diff(delivered(link=link).number) == 10).all()


def test_nothing_is_handed_over_while_the_host_stalls():
    one = delivered(link=RadioLink(stalls=((10.0, 10.4),)))
    assert not ((one.received_s >= 10.0) & (one.received_s < 10.4)).any()


def test_settings_that_cannot_be_are_refused_with_their_limits():
    with pytest.raises(SimulationError, match=r"0\.000375 to 4 s"):
        RadioLink(interval_s=5.0)
    with pytest.raises(SimulationError, match="at least one sample"):
        DeviceTiming(samples_per_packet=0)
