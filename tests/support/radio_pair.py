"""Two sensors over a simulated radio, stamped as they arrive: error between them against truth.

The population is what the clock's own constants state: crystals off by up to 50 ppm that wander by
2 ppm, sampling oscillators off by up to 1 %, least delays that differ by 0.3 ms from sensor to
sensor (standard deviation), connections with loss, bursts, gaps and stalls of the host.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sensors.clock import ArrivalClock, SyncCorrection, bring_together
from sensors.radio_timing import (
    Delivery,
    DeviceTiming,
    Oscillator,
    RadioLink,
    random_stretches,
    simulate_delivery,
)
from sensors.sample_line import SampleLine
from sensors.source import SamplePacket

RATE_HZ = 200.0
TICK_S = 0.001
SPAN = 1 << 16
"""Ticks of 1 ms in 16 bits wrap every 65.5 s."""
LATENCY_S, LATENCY_U_S = 0.004, 0.0003
SYNC_U_S = 0.0002
"""How well a simulated sync check knows the offset."""
NO_VALUES = np.zeros((0, 3))


@dataclass(frozen=True)
class Scene:
    """One kind of connection. ppm None: drawn within 50, else as given, of opposite signs.

    samples None: 8 to 19 a packet, drawn. sync_at_s: when a sync check is made; the times from
    then on are judged. locked: the crystal drives the sampling, so that packets of even length
    keep step with the events; else sampling has an oscillator of its own. restart_s: both sensors
    are switched off and on.
    """

    interval_s: float = 0.030
    ticks: bool = True
    duration_s: float = 120.0
    samples: int | None = None
    ppm: float | None = None
    loss: float = 0.05
    busy: bool = True
    sync_at_s: float | None = None
    restart_s: float | None = None
    interval_known: bool = False
    wander_ppm: float = 2.0
    locked: bool = False


@dataclass(frozen=True)
class Stamped:
    """k packets of one sensor: true and stamped time of the first sample, stated u, all s."""

    true_s: np.ndarray
    error_s: np.ndarray
    u_s: np.ndarray


@dataclass(frozen=True)
class PairError:
    """Error of one sensor's times against the other's on a grid of half seconds, and stated u."""

    at_s: np.ndarray
    error_s: np.ndarray
    u_s: np.ndarray

    def after(self, at_s: float) -> PairError:
        late = self.at_s >= at_s
        return PairError(self.at_s[late], self.error_s[late], self.u_s[late])


def _device(scene: Scene, sign: int, rng: np.random.Generator) -> DeviceTiming:
    ppm = rng.uniform(-50.0, 50.0) if scene.ppm is None else sign * scene.ppm
    crystal = Oscillator(ppm, scene.wander_ppm, tuple(rng.uniform(0.0, 2.0 * np.pi, 3)))
    sampling = None
    if not scene.locked:
        off = rng.uniform(-1e4, 1e4)
        sampling = Oscillator(off, 10.0, tuple(rng.uniform(0.0, 2.0 * np.pi, 3)))
    return DeviceTiming(
        rate_hz=RATE_HZ,
        samples_per_packet=scene.samples or int(rng.integers(8, 20)),
        crystal=crystal,
        sampling=sampling,
        tick_bits=16 if scene.ticks else None,
        first_tick=int(rng.integers(0, SPAN)),
        first_sample_s=rng.uniform(0.0, 0.1),
        latency_s=LATENCY_S + LATENCY_U_S * rng.standard_normal(),
    )


def _link(scene: Scene, rng: np.random.Generator) -> RadioLink:
    last = scene.duration_s
    busy = scene.busy
    return RadioLink(
        interval_s=scene.interval_s,
        first_event_s=rng.uniform(0.0, scene.interval_s),
        central_ppm=rng.uniform(-20.0, 20.0),
        loss=scene.loss,
        bursts=random_stretches(rng, last, 2.0, (0.5, 3.0)) if busy else (),
        gaps=random_stretches(rng, last, 0.2, (2.0, 6.0)) if busy else (),
        stalls=random_stretches(rng, last, 2.0, (0.05, 0.4)) if busy else (),
    )


def deliveries(scene: Scene, rng: np.random.Generator, sign: int) -> list[Delivery]:
    """What arrives of one sensor: one leg, or two where it is switched off and on."""
    device, link = _device(scene, sign, rng), _link(scene, rng)
    until_s = scene.duration_s if scene.restart_s is None else scene.restart_s
    legs = [simulate_delivery(device, link, until_s, rng)]
    if scene.restart_s is not None:
        again_s = scene.restart_s + 3.0
        kind = {name: getattr(device, name) for name in device.__dataclass_fields__}
        again = DeviceTiming(**{**kind, "first_sample_s": again_s, "first_tick": 0})
        legs.append(simulate_delivery(again, link, scene.duration_s - again_s, rng))
    return legs


class StampedStream:
    """One sensor's packets through the count of samples, the wraps of ticks and the clock."""

    def __init__(self, delivery: Delivery, *, ticks: bool, interval_s: float | None = None) -> None:
        self.clock = ArrivalClock(RATE_HZ, tick_s=TICK_S if ticks else None, interval_s=interval_s)
        self.delivery = delivery
        samples = delivery.sample_s.shape[1]
        steps = np.floor(np.arange(samples) / RATE_HZ / TICK_S).astype(np.int64)
        self.steps = steps if ticks else np.arange(samples, dtype=np.int64)
        self.line = SampleLine(1.0 / RATE_HZ / TICK_S)
        self.next = 0
        self.done = 0
        self.rows: list[tuple[float, float, float]] = []

    def run(self, until_s: float = np.inf) -> None:
        """Stamp what arrives before until_s."""
        given = self.delivery
        while self.done < len(given) and given.received_s[self.done] < until_s:
            at = self.done
            lost = int(given.number[at]) - self.next
            self.next = int(given.number[at]) + len(self.steps)
            raw = int(given.raw_tick[at]) if len(given.raw_tick) else None
            _, ticks = self.line.place(lost, self.steps, raw, SPAN)
            packet = SamplePacket(
                "one", ticks, NO_VALUES, NO_VALUES, float(given.received_s[at]), lost_before=lost
            )
            time_s, u_s = self.clock.session_times(packet)
            true_s = float(given.sample_s[at, 0])
            self.rows.append((true_s, float(time_s[0]) - true_s, u_s))
            self.done += 1

    @property
    def stamped(self) -> Stamped:
        return Stamped(*np.asarray(self.rows).T)


def pair_error(scene: Scene, seed: int) -> PairError:
    """Error between two sensors of a scene, all of it drawn from the seed."""
    rng = np.random.default_rng(seed)
    both = [deliveries(scene, rng, sign) for sign in (1, -1)]
    found = [_leg_error(scene, legs, rng) for legs in zip(*both, strict=True)]
    return PairError(
        *(
            np.concatenate([getattr(leg, name) for leg in found])
            for name in ("at_s", "error_s", "u_s")
        )
    )


def _leg_error(scene: Scene, legs: tuple[Delivery, ...], rng: np.random.Generator) -> PairError:
    known = scene.interval_s if scene.interval_known else None
    first, second = (StampedStream(leg, ticks=scene.ticks, interval_s=known) for leg in legs)
    if scene.sync_at_s is not None:
        for stream in (first, second):
            stream.run(scene.sync_at_s)
        apart = _between(first.stamped, second.stamped)
        # The last five seconds that both sent: the check may fall into a gap.
        end_s = float(apart.at_s[-1])
        apart = apart.after(end_s - 5.0)
        seen_s = float(np.mean(apart.error_s)) + SYNC_U_S * rng.standard_normal()
        found = SyncCorrection(-seen_s, SYNC_U_S, end_s - 5.0, end_s)
        bring_together([first.clock], second.clock, found)
    for stream in (first, second):
        stream.run()
    return _between(first.stamped, second.stamped)


def _between(first: Stamped, second: Stamped) -> PairError:
    begin = np.ceil(max(first.true_s[0], second.true_s[0]))
    at_s = np.arange(begin, min(first.true_s[-1], second.true_s[-1]), 0.5)
    error_s = np.interp(at_s, second.true_s, second.error_s) - np.interp(
        at_s, first.true_s, first.error_s
    )
    u_s = np.hypot(*(one.u_s[np.searchsorted(one.true_s, at_s) - 1] for one in (first, second)))
    return PairError(at_s, error_s, u_s)


@dataclass(frozen=True)
class Level:
    """Over all runs of a scene: 95 % of the errors' sizes are below p95_s; share within 1.96 u."""

    p95_s: float
    largest_s: float
    median_u_s: float
    within: float
    runs: int


def _judged(found: PairError, scene: Scene, after_s: float) -> PairError:
    """Without the first after_s, s, of the stream and of the one after a restart."""
    judged = found.at_s >= after_s
    if scene.restart_s is not None:
        judged &= (found.at_s < scene.restart_s) | (found.at_s >= scene.restart_s + 3.0 + after_s)
    return PairError(found.at_s[judged], found.error_s[judged], found.u_s[judged])


def level(scene: Scene, seeds: range, after_s: float = 30.0) -> Level:
    """A scene's figures from after_s on (from the sync check on where one is made, +20 s)."""
    if scene.sync_at_s is not None:
        after_s = scene.sync_at_s + 20.0
    found = [_judged(pair_error(scene, seed), scene, after_s) for seed in seeds]
    error_s = np.abs(np.concatenate([one.error_s for one in found]))
    u_s = np.concatenate([one.u_s for one in found])
    return Level(
        float(np.quantile(error_s, 0.95)),
        float(error_s.max()),
        float(np.median(u_s)),
        float(np.mean(error_s <= 1.96 * u_s)),
        len(found),
    )
