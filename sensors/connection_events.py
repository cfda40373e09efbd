"""What the times of arrival tell about the radio's connection events.

Packets leave a sensor only at connection events, one every interval. The host is not told the
interval; but all arrivals lie on its lattice, also those that were sent again.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sensors.source import Array

INTERVAL_STEP_S: Final = 0.00125
SHORTEST_INTERVAL_S: Final = 0.0075
"""Connection intervals are multiples of the step from here on: Bluetooth Core Specification."""
LONGEST_INTERVAL_S: Final = 0.1
"""The longest that is looked for. Hosts choose 7.5 to 60 ms for a busy sensor (common practice,
no source)."""
SAME_EVENT_S: Final = 0.002
"""Arrivals closer than this belong to one event: a packet of 251 bytes takes 2.1 ms on air at
1 Mbit/s, one of 27 bytes 0.7 ms with the pauses and the answer."""
_STEP_U_S: Final = 0.0008
"""A step between two events is off the lattice by less than this, unless the host was held up:
five times a usual jitter."""
_CANDIDATES: Final = INTERVAL_STEP_S * np.arange(
    round(SHORTEST_INTERVAL_S / INTERVAL_STEP_S), round(LONGEST_INTERVAL_S / INTERVAL_STEP_S) + 1
)
_ENOUGH: Final = 24
"""Steps between events from which on an interval is told."""
_LEAST_SHARE: Final = 0.75
"""Part of the steps that must lie on the lattice."""


def connection_interval(events_s: Array) -> float | None:
    """The longest interval whose lattice the events lie on, s; None where none is seen.

    events_s (n,) s, increasing: first arrivals of events. A part of the interval fits as well as
    the interval itself, a multiple nearly as well where few packets are sent again: the longest
    is taken that no shorter one fits clearly better, beyond what it catches by chance. It may be
    too long; the wait that may be unseen is then overstated, not understated.
    """
    steps = np.diff(events_s)
    steps = steps[steps < 20.0 * LONGEST_INTERVAL_S]
    if len(steps) < _ENOUGH:
        return None
    on = np.abs(steps[:, None] - _CANDIDATES * np.rint(steps[:, None] / _CANDIDATES)) < _STEP_U_S
    off = np.sum(~on, axis=0).astype(np.float64)
    chance = 2.0 * _STEP_U_S / _CANDIDATES
    for index in range(len(_CANDIDATES) - 1, -1, -1):
        if off[index] > (1.0 - _LEAST_SHARE) * len(steps):
            continue
        caught = off[index] * chance[: index + 1]
        if (off[: index + 1] >= off[index] - caught - 2.5 * np.sqrt(caught + 1.0)).all():
            return float(_CANDIDATES[index])
    return None


_OFF_LATTICE_S: Final = 0.001
"""Arrivals further from the lattice were handed over late: the host was held up."""
_EARLY: Final = 0.1
"""Part of the arrivals that counts as early: where hosts are quickest there are many."""


def event_times(arrival_s: Array, interval_s: float) -> Array:
    """Times (n,) of the events at which packets came, s: without the host's jitter.

    arrival_s (n,) s, increasing. The lattice's own drift against the host's clock is followed as
    a line. Arrivals off the lattice are given back as they are.
    """
    if len(arrival_s) < _ENOUGH:
        return arrival_s
    phase_s = np.unwrap(arrival_s % interval_s, period=interval_s)
    half = len(arrival_s) // 2
    after_s = arrival_s - arrival_s[0]
    rises = (phase_s[half:] - phase_s[: len(phase_s) - half]) / (
        after_s[half:] - after_s[: len(after_s) - half]
    )
    off_s = phase_s - float(np.median(rises)) * after_s
    off_s -= np.median(off_s)
    near = np.abs(off_s) < _OFF_LATTICE_S
    if np.count_nonzero(near) < _LEAST_SHARE * len(near):
        return arrival_s
    slope, height = np.polyfit(after_s[near], off_s[near], 1)
    off_s -= height + slope * after_s
    off_s -= np.quantile(off_s[near], _EARLY)
    return np.asarray(np.where(near, arrival_s - off_s, arrival_s))
