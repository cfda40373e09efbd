"""Postures between the samples, and the heading that the two sensors are given in common."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from analysis.kinematics import (
    Postures,
    filtered_rates,
    segment_path,
    target_sign,
    untwisted,
)
from analysis.orientation import segment_motion
from analysis.results import Handedness, Interval, Mounting
from analysis.samples import SampleTable

WORN = Mounting(np.array([1.0, 0.0, 0.0, 0.0]))
ADDRESS_S, STRETCH = 2.0, Interval(1.0, 4.0)


def samples(tilt_deg: float, bend_deg: float, heading_deg: float, rate_hz: float) -> SampleTable:
    """Leaning, and turning about its own long axis by 80 deg to the right from 2.1 s to 2.9 s."""
    time_s = np.arange(0.0, 4.0, 1.0 / rate_hz)
    share = np.clip((time_s - 2.1) / 0.8, 0.0, 1.0)
    turn = np.radians(-80.0) * (share - np.sin(2.0 * np.pi * share) / (2.0 * np.pi))
    rate = np.gradient(turn, time_s, edge_order=2)
    lean = Rotation.from_euler("YZX", [heading_deg, -tilt_deg, bend_deg], degrees=True)
    placed = lean * Rotation.from_euler("Y", turn[:, None])
    gyro = np.stack((np.zeros_like(rate), rate, np.zeros_like(rate)), axis=1)
    return SampleTable(time_s, gyro, placed.inv().apply([0.0, 9.80665, 0.0]))


def path_of(table: SampleTable, sign: float = 1.0):
    motion = segment_motion(table, WORN)
    rates = filtered_rates(motion, STRETCH, sign)
    return segment_path(motion, rates, STRETCH, ADDRESS_S)


def heading(rotations: Rotation) -> np.ndarray:
    """Heading of the right axis, by scipy."""
    return rotations.as_euler("YXZ")[..., 0]


@pytest.mark.parametrize("rate_hz", [100.0, 200.0])
def test_turn_is_the_change_of_heading_of_the_right_axis(rate_hz: float):
    table = samples(34.0, 5.0, 77.0, rate_hz)
    at = np.array([2.0, 2.3137, 2.5, 2.7771, 3.2])
    lean = Rotation.from_euler("YZX", [77.0, -34.0, 5.0], degrees=True)
    share = np.clip((at - 2.1) / 0.8, 0.0, 1.0)
    turn = np.radians(-80.0) * (share - np.sin(2.0 * np.pi * share) / (2.0 * np.pi))
    true = heading(lean * Rotation.from_euler("Y", turn[:, None])) - heading(lean)
    got, mirrored = (
        Postures.at((path, path), at).turn[0] for path in (path_of(table), path_of(table, -1.0))
    )
    assert np.degrees(got) == pytest.approx(np.degrees(true), abs=0.15)
    assert np.degrees(mirrored) == pytest.approx(-np.degrees(got))


def test_the_turns_rate_is_its_slope():
    path = path_of(samples(34.0, 5.0, 0.0, 200.0))
    at = np.linspace(2.2, 2.8, 61)
    postures = Postures.at((path, path), at)
    slope = np.gradient(postures.turn[1], at, edge_order=2)
    assert postures.turn_rate()[1, 1:-1] == pytest.approx(slope[1:-1], abs=0.01)


def test_the_spine_is_untwisted_at_address_whatever_the_sensors_headings():
    pelvis = path_of(samples(18.0, 0.0, 10.0, 200.0))
    for heading_deg in (0.0, 10.0, 150.0):
        upper = path_of(samples(34.0, 6.0, heading_deg, 200.0))
        paths = untwisted(pelvis, upper)
        at = np.array([ADDRESS_S, 2.9])
        postures = Postures.at(paths, at)
        joint = postures.joint
        assert joint[0] == pytest.approx(0.0, abs=1e-4)
        assert postures.turn[1, 0] == pytest.approx(0.0, abs=1e-9)
        expected = _joint_by_scipy()
        assert np.degrees(joint[1]) == pytest.approx(expected, abs=0.1)


def _joint_by_scipy() -> float:
    """Axial angle Z-X-Y of the two leaning segments, both turned by 80 deg, by scipy."""
    turn = Rotation.from_euler("Y", -80.0, degrees=True)
    hips = Rotation.from_euler("ZX", [-18.0, 0.0], degrees=True)
    shoulders = Rotation.from_euler("ZX", [-34.0, 6.0], degrees=True)
    return float(-((hips * turn).inv() * shoulders * turn).as_euler("ZXY", degrees=True)[2])


def test_the_target_is_to_the_left_of_a_right_hander():
    assert target_sign(Handedness.RIGHT) == 1.0
    assert target_sign(Handedness.LEFT) == -1.0
