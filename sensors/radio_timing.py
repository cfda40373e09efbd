"""When the packets of a Bluetooth Low Energy sensor reach the host: a simulation with its truth.

The central opens a connection event every interval. A packet that is ready waits for the next
event; one that is not received is sent again one event later, in order, until it gets through.
Neither the sensor's crystal nor its sampling oscillator knows the central's clock, so the wait
sweeps through the interval - unless packets are an even multiple of a part of it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from sensors.errors import SimulationError
from sensors.source import Array

Counts = npt.NDArray[np.int64]

_WANDER_PERIODS_S: Final = (2400.0, 900.0, 300.0)
"""Periods of a slow wander: a sensor warming on the body, sun and shade. Our own choice."""
_WANDER_SHARES: Final = (0.8, 0.5, 0.33)
"""Amplitudes of these periods; their root mean square together is 0.7."""


@dataclass(frozen=True, slots=True)
class Oscillator:
    """What drives a clock: off by ppm for good, by up to about wander_ppm slowly to and fro.

    phases: of the three slow waves of the wander, rad.
    """

    ppm: float = 0.0
    wander_ppm: float = 0.0
    phases: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def true_s(self, shown_s: Array) -> Array:
        """True duration in which the oscillator counts shown_s: less than that where it is fast."""
        error = self.ppm * shown_s
        for period, share, phase in zip(
            _WANDER_PERIODS_S, _WANDER_SHARES, self.phases, strict=True
        ):
            turn = 2.0 * np.pi / period
            waves = np.sin(turn * shown_s + phase) - np.sin(phase)
            error = error + self.wander_ppm * share * waves / turn
        return np.asarray(shown_s - 1e-6 * error)


@dataclass(frozen=True, slots=True)
class DeviceTiming:
    """How a sensor samples, counts and packs.

    rate_hz: what it says. sampling: its sampling oscillator; None: the crystal that makes the
    ticks. tick_bits None: no ticks are sent. latency_s: from the last sample to a packet that is
    ready. queue: packets that wait at most; further ones are lost.
    """

    rate_hz: float = 200.0
    samples_per_packet: int = 10
    crystal: Oscillator = Oscillator()
    sampling: Oscillator | None = None
    tick_s: float = 0.001
    tick_bits: int | None = 32
    first_tick: int = 0
    first_sample_s: float = 0.0
    latency_s: float = 0.0
    queue: int = 400

    def __post_init__(self) -> None:
        if self.rate_hz <= 0.0 or self.samples_per_packet < 1 or self.tick_s <= 0.0:
            raise SimulationError(
                "a sensor samples at a rate above 0 Hz, packs at least one sample and counts ticks "
                f"longer than 0 s, received {self.rate_hz}, {self.samples_per_packet}, "
                f"{self.tick_s}"
            )


@dataclass(frozen=True, slots=True)
class RadioLink:
    """One sensor's connection. Times s of the host's clock.

    central_ppm: the radio's clock against the host's. delay_s: event to host at the least;
    jitter_s: mean of what comes on top, exponential. spacing_s: between packets of one event.
    loss: chance that an event fails. burst_loss: the same within bursts (start, end). gaps: no
    event at all. stalls: (start, end) in which the host's programme does not run.
    """

    interval_s: float = 0.030
    first_event_s: float = 0.0
    central_ppm: float = 0.0
    delay_s: float = 0.001
    jitter_s: float = 0.00015
    spacing_s: float = 0.0004
    loss: float = 0.05
    bursts: tuple[tuple[float, float], ...] = ()
    burst_loss: float = 0.6
    gaps: tuple[tuple[float, float], ...] = ()
    stalls: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if not 0.000375 <= self.interval_s <= 4.0 or not 0.0 <= self.loss < 1.0:
            raise SimulationError(
                "a connection interval is 0.000375 to 4 s and a chance of loss below 1, "
                f"received {self.interval_s} s and {self.loss}"
            )


@dataclass(frozen=True, slots=True)
class Delivery:
    """k packets in order of arrival, and the truth.

    number (k,): count of the first sample since the sensor was switched on, lost ones included.
    raw_tick (k,): tick of the first sample as sent, wrapped; empty where none are sent.
    received_s (k,): host time. sample_s (k, n): true time of every sample.
    """

    number: Counts
    raw_tick: Counts
    received_s: Array
    sample_s: Array = field(repr=False)

    def __len__(self) -> int:
        return len(self.number)

    def then(self, other: Delivery) -> Delivery:
        """This, then another leg, as after a restart."""
        return Delivery(
            *(
                np.concatenate((getattr(self, name), getattr(other, name)))
                for name in ("number", "raw_tick", "received_s", "sample_s")
            )
        )


def simulate_delivery(
    device: DeviceTiming, link: RadioLink, duration_s: float, rng: np.random.Generator
) -> Delivery:
    """Packets of a sensor that starts at first_sample_s and samples for duration_s."""
    n = device.samples_per_packet
    packets = int(duration_s * device.rate_hz / n)
    number = np.arange(packets, dtype=np.int64) * n
    count = number[:, None] + np.arange(n)
    sampled_s = np.asarray(count / device.rate_hz, dtype=np.float64)
    if device.sampling is None:
        shown_s, true_s = sampled_s, device.crystal.true_s(sampled_s)
    else:
        true_s = device.sampling.true_s(sampled_s)
        # The inverse to first order: errors of some 1e-5 of a wander of some 1e-6.
        shown_s = 2.0 * true_s - device.crystal.true_s(true_s)
    sample_s = device.first_sample_s + true_s
    sent, event_s = _sent(sample_s[:, -1] + device.latency_s, link, device.queue, rng)
    received_s = _handed_over(event_s, link, rng)
    if device.tick_bits is None:
        raw = np.zeros(0, dtype=np.int64)
    else:
        # A sample on a tick's edge, as where one crystal makes both, is counted to that tick.
        passed = np.floor(shown_s[sent, 0] / device.tick_s + 1e-6).astype(np.int64)
        ticks = passed + device.first_tick
        raw = ticks % (1 << device.tick_bits)
    return Delivery(number[sent], raw, received_s, sample_s[sent])


def _sent(
    ready_s: Array, link: RadioLink, queue: int, rng: np.random.Generator
) -> tuple[Counts, Array]:
    """Which packets get through, and when; ready_s (k,) increasing."""
    interval_s = link.interval_s / (1.0 + 1e-6 * link.central_ppm)
    start_s = (
        link.first_event_s % interval_s
        + interval_s * np.floor(float(ready_s[0]) / interval_s)
        - interval_s
    )
    last_s = max([float(ready_s[-1]), *(end for _, end in link.gaps)]) + 60.0
    events_s = start_s + interval_s * np.arange(int((last_s - start_s) / interval_s))
    next_good = _next_good(events_s, link, rng)
    sent, times = [], []
    waiting: deque[float] = deque()
    event, slot_s = -1, -np.inf
    for packet, at_s in enumerate(ready_s.tolist()):
        while waiting and waiting[0] <= at_s:
            waiting.popleft()
        if len(waiting) >= queue:
            continue
        closes_s = start_s + interval_s * (event + 1) - link.spacing_s
        if not (at_s <= slot_s < closes_s):
            due = int(np.ceil((at_s - start_s) / interval_s))
            event = int(next_good[max(due, event + 1)])
            slot_s = start_s + interval_s * event
        sent.append(packet)
        times.append(slot_s)
        waiting.append(slot_s)
        slot_s += link.spacing_s
    return np.asarray(sent, dtype=np.int64), np.asarray(times, dtype=np.float64)


def _next_good(events_s: Array, link: RadioLink, rng: np.random.Generator) -> Counts:
    """For each event the first at or after it that gets through."""
    good = rng.random(len(events_s)) >= np.where(
        _within(events_s, link.bursts), link.burst_loss, link.loss
    )
    good &= ~_within(events_s, link.gaps)
    good[-1] = True
    index = np.where(good, np.arange(len(events_s)), len(events_s))
    return np.minimum.accumulate(index[::-1])[::-1].astype(np.int64)


def _handed_over(event_s: Array, link: RadioLink, rng: np.random.Generator) -> Array:
    """Host time at which the programme has each packet."""
    received_s = event_s + link.delay_s + link.jitter_s * rng.standard_exponential(len(event_s))
    for start_s, end_s in link.stalls:
        late = (received_s >= start_s) & (received_s < end_s)
        received_s[late] = end_s
    return np.maximum.accumulate(received_s)


def _within(time_s: Array, stretches: Sequence[tuple[float, float]]) -> npt.NDArray[np.bool_]:
    inside = np.zeros(len(time_s), dtype=np.bool_)
    for start_s, end_s in stretches:
        inside |= (time_s >= start_s) & (time_s < end_s)
    return inside


def random_stretches(
    rng: np.random.Generator, duration_s: float, per_minute: float, length_s: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    """Stretches at random times (Poisson), of lengths between two bounds: bursts and stalls."""
    count = int(rng.poisson(per_minute * duration_s / 60.0))
    starts = np.sort(rng.uniform(0.0, duration_s, count))
    lengths = rng.uniform(*length_s, count)
    return tuple(zip(starts.tolist(), (starts + lengths).tolist(), strict=True))
