"""How fast sessions are simulated. Run by name, with -s to see the figures."""

import platform
import time

import numpy as np
import scipy

from sensors.golfer_simulation import LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from sensors.worn_sensors import imperfect_calibration, worn_sensors


def test_ten_minutes_of_two_sensors_take_well_under_two_seconds():
    rng = np.random.default_rng(1)
    print(f"\n{platform.machine()}, numpy {np.__version__}, scipy {scipy.__version__}")
    for soft_tissue in (False, True):
        faults = worn_sensors(rng, LONG_TURN_GOLFER, soft_tissue=soft_tissue, strike=True)
        plan = PracticePlan(swings=27, calibration=imperfect_calibration(rng))
        session = SimulatedRangeSession(plan, faults, seed=3)
        begin = time.perf_counter()
        made_s = session.sensor("pelvis").time_s[-1]
        took_s = time.perf_counter() - begin
        per_ten_minutes = took_s * 600.0 / made_s
        print(f"soft tissue {soft_tissue}: {made_s:.0f} s in {took_s:.2f} s")
        assert per_ten_minutes < 2.0


def test_a_live_session_starts_at_once():
    session = SimulatedRangeSession(PracticePlan(swings=None), seed=1)
    begin = time.perf_counter()
    next(session.stretches())
    took_s = time.perf_counter() - begin
    print(f"\nfirst activity after {1e3 * took_s:.1f} ms")
    assert took_s < 0.2
