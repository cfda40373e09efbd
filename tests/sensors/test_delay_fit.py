"""The line under the delays: interval read or known, memory bounded, queues and drift."""

import numpy as np
import pytest

from sensors.connection_events import connection_interval
from sensors.delay_fit import CRYSTAL, DelayFit
from sensors.lower_envelope import HullWindow, envelope_line, lower_hull
from sensors.radio_timing import DeviceTiming, Oscillator, RadioLink, simulate_delivery
from tests.support.radio_pair import StampedStream


def arrivals(
    fit: DelayFit, seconds: float, rate: float = 0.0, interval_s: float = 0.03, loss: float = 0.05
) -> tuple[float, float]:
    """Packets each 55 ms on an event lattice; the last device time and its true host time."""
    rng = np.random.default_rng(5)
    at_s = device_s = 0.0
    for device_s in np.arange(0.0, seconds, 0.0551).tolist():
        at_s = device_s * (1.0 + rate)
        event = np.ceil(at_s / interval_s) + rng.geometric(1.0 - loss) - 1
        fit.add(device_s, max(event * interval_s, fit._received_s) + 1e-4 * rng.random())
    return device_s, at_s


@pytest.mark.parametrize("interval_s", [0.0075, 0.015, 0.03, 0.05])
def test_the_connection_interval_is_read_from_the_arrivals(interval_s):
    events = interval_s * np.cumsum(np.random.default_rng(1).integers(1, 4, 100))
    assert connection_interval(events) == pytest.approx(interval_s)


def test_no_interval_is_told_from_too_few_events():
    assert connection_interval(0.03 * np.arange(10)) is None


@pytest.mark.parametrize("rate", [0.0, 50e-6, -50e-6])
def test_the_floor_is_found_under_sweeping_waits_whatever_the_drift(rate):
    fit = DelayFit(CRYSTAL)
    device_s, at_s = arrivals(fit, 60.0, rate)
    assert fit.host_s(device_s) == pytest.approx(at_s, abs=0.001)
    assert fit.rate == pytest.approx(rate, abs=3e-5)


def test_a_known_interval_is_kept():
    fit = DelayFit(CRYSTAL, interval_s=0.05)
    arrivals(fit, 20.0)
    assert fit.interval_s == 0.05


def test_memory_stays_bounded():
    fit = DelayFit(CRYSTAL)
    arrivals(fit, 200.0)
    assert len(fit._firsts) <= 512
    assert len(fit._events) <= 256


def test_a_hull_window_keeps_few_points_and_none_older_than_its_span():
    window = HullWindow(60.0)
    rng = np.random.default_rng(2)
    for x in np.arange(0.0, 1000.0, 0.05).tolist():
        window.add(x, rng.random())
    x, _ = window.points()
    assert x.min() >= x.max() - 60.0
    assert len(x) < 400


def test_the_envelope_lies_under_all_points_and_touches_two():
    rng = np.random.default_rng(3)
    x, y = np.sort(rng.random(200)), rng.random(200)
    over = y - envelope_line(x, y, float(x.mean()), 10.0).over(x)
    assert over.min() >= -1e-12
    assert np.count_nonzero(over < 1e-12) == 2
    assert set(lower_hull(x, y)[0]) <= set(x)


def test_a_line_under_no_points_is_refused():
    with pytest.raises(ValueError, match="received none"):
        envelope_line(np.zeros(0), np.zeros(0), 0.0, 1.0)


@pytest.mark.parametrize("off", [3.2e-4, -2.1e-4])
def test_a_wait_that_walks_slowly_is_not_taken_for_drift(off):
    """Packets of 90 ms nearly keep step with events of 30 ms, and ticks of 1 ms with both."""
    device = DeviceTiming(
        samples_per_packet=18, sampling=Oscillator(1e6 * off), crystal=Oscillator(30.0)
    )
    delivery = simulate_delivery(device, RadioLink(), 40.0, np.random.default_rng(7))
    stream = StampedStream(delivery, ticks=True)
    stream.run()
    fit = stream.clock.fit
    assert abs(fit.rate) < 60e-6
    assert fit.rate_u > 20e-6
