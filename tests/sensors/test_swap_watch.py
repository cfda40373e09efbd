"""Sensors that are worn the wrong way round are noticed; those worn right are never suspected."""

from __future__ import annotations

import numpy as np
import pytest

from sensors.golfer_simulation import LONG_TURN_GOLFER, SHORT_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.swap_watch import EXCESS, SWINGS, SwapWatch
from sensors.worn_sensors import worn_sensors

OTHER = {"pelvis": "upper_back", "upper_back": "pelvis"}


def watched(golfer, swings: int, *, swapped: bool) -> tuple[SwapWatch, list[float]]:
    """A watch that saw a range session with walking and drills, and when it became suspicious."""
    watch, arisen = SwapWatch(), []
    faults = worn_sensors(np.random.default_rng(1), golfer)
    session = SimulatedRangeSession(PracticePlan(swings=swings), faults, 3, golfer)
    for stretch in session.stretches():
        parts = [
            (samples.time_s[at], OTHER[segment] if swapped else segment, samples.gyro[at : at + 8])
            for segment, samples in stretch.samples.items()
            for at in range(0, len(samples.time_s), 8)
        ]
        for time_s, segment, gyro in sorted(parts, key=lambda part: part[0]):
            if watch.push(segment, time_s, gyro):
                arisen.append(time_s)
    return watch, arisen


@pytest.mark.parametrize("golfer", [LONG_TURN_GOLFER, SHORT_TURN_GOLFER], ids=["long", "short"])
def test_swapped_sensors_are_noticed_within_a_few_swings_and_right_ones_never(golfer):
    watch, arisen = watched(golfer, 5, swapped=True)
    assert watch.swapped
    assert len(arisen) == 1
    watch, arisen = watched(golfer, 5, swapped=False)
    assert not watch.swapped
    assert arisen == []


def swing(watch: SwapWatch, at_s: float, pelvis_dps: float, upper_back_dps: float | None) -> bool:
    """A swing with these peaks, then quiet."""
    arisen = False
    for part, scale in ((0.0, 1.0), (0.1, 0.5), (1.0, 0.0), (1.1, 0.0)):
        for segment, peak in (("pelvis", pelvis_dps), ("upper_back", upper_back_dps)):
            if peak is not None:
                gyro = np.radians([[0.0, scale * peak, 0.0]])
                arisen |= watch.push(segment, at_s + part, gyro)
    return arisen


def test_one_drill_of_the_hips_is_no_suspicion():
    watch = SwapWatch()
    peaks = [(600, 400), (400, 600), (600, 400), (600, 400), (420, 400), (600, 400)]
    assert not any(swing(watch, 10.0 * at, *one) for at, one in enumerate(peaks))


def test_suspicion_goes_once_the_sensors_are_changed_over():
    watch = SwapWatch()
    first = [swing(watch, 10.0 * at, 600.0, 400.0) for at in range(SWINGS + 2)]
    assert [at for at, arisen in enumerate(first) if arisen] == [SWINGS - 1]
    for at in range(SWINGS):
        swing(watch, 100.0 + 10.0 * at, 400.0, 600.0)
    assert not watch.swapped


def test_what_is_too_slow_or_seen_by_one_sensor_only_says_nothing():
    watch = SwapWatch()
    for at in range(6):
        swing(watch, 10.0 * at, 290.0, 100.0)
        swing(watch, 10.0 * at + 5.0, 600.0, None)
        swing(watch, 100.0 + 10.0 * at, 400.0 * EXCESS * 0.99, 400.0)
    assert not watch.swapped
