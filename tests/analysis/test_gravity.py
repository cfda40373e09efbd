"""The vertical and the bias that gravity shows over a whole window."""

from __future__ import annotations

import numpy as np
import pytest

from analysis import rotation
from analysis.gravity import Vertical, after_knots, fit_verticals
from analysis.vertical_model import Measured
from tests.support.moving_segment import GRAVITY, MovingSegment, swing

UP = np.array([0.0, 1.0, 0.0])
LOOSE = np.eye(3) * np.radians(3.0) ** 2


def fit(
    segment: MovingSegment, time_s, *, bias=(0.0, 0.0, 0.0), scale=1.0, pushed=None
) -> Vertical:
    """Fit on what a sensor in segment axes would measure; `pushed` (n, 3) m/s^2 in the world."""
    orientation = segment.orientation(time_s)
    rate = scale * segment.rate(time_s) + np.asarray(bias)
    total = np.array([0.0, GRAVITY, 0.0]) + (0.0 if pushed is None else pushed)
    force = rotation.rotate(rotation.conjugate(orientation), total)
    (found,) = fit_verticals([Measured(time_s, rate, force, 0, LOOSE)])
    return found


def off_vertical(segment: MovingSegment, time_s, found: Vertical):
    """Angle of the vertical found off the true one, at each sample, degrees."""
    up = np.stack([np.interp(time_s, found.knots_s, axis) for axis in found.up.T], axis=-1)
    still = after_knots(time_s, found.turned, found.knots_s, found.amended)
    seen = rotation.rotate(rotation.conjugate(still), up)
    true = rotation.rotate(rotation.conjugate(segment.orientation(time_s)), UP)
    return np.degrees(np.linalg.norm(np.cross(seen, true), axis=1))


def addresses(count, seconds):
    """Bending over and standing up again, turning a little, `count` times."""
    knots = np.arange(2 * count + 1) * seconds / (2 * count)
    angles = np.zeros((knots.size, 3))
    angles[1::2] = (20.0, 4.0, -35.0)
    angles[2::4] = (-15.0, -3.0, -5.0)
    return MovingSegment(knots, angles)


def test_the_vertical_of_a_perfect_sensor_is_the_vertical():
    segment, _, end_s = swing()
    time_s = np.arange(0.0, end_s, 0.005)
    found = fit(segment, time_s)
    assert off_vertical(segment, time_s, found).max() < 0.05
    assert np.linalg.norm(found.bias) < np.radians(0.02)
    assert found.misfit < 0.01


def test_bias_is_found_from_the_drift_of_gravity_alone():
    """Nothing of the gyro at rest is used; all axes show because the trunk bends in between."""
    bias = np.radians([0.8, -0.6, 0.5])
    segment = addresses(5, 20.0)
    found = fit(segment, np.arange(0.0, 20.0, 0.005), bias=bias)
    u = np.sqrt(np.diag(found.bias_covariance))
    assert np.degrees(found.bias) == pytest.approx(np.degrees(bias), abs=0.1)
    assert (np.abs(found.bias - bias) < 3.0 * u).all()


def test_bias_about_the_vertical_stays_unknown_to_one_who_never_bends():
    upright = MovingSegment(np.array([0.0, 5.0, 10.0]), np.zeros((3, 3)))
    found = fit(upright, np.arange(0.0, 10.0, 0.005), bias=np.radians([0.5, 1.0, 0.5]))
    u = np.degrees(np.sqrt(np.diag(found.bias_covariance)))
    assert u[1] > 2.5
    assert max(u[0], u[2]) < 0.3
    assert np.degrees(found.bias[[0, 2]]) == pytest.approx([0.5, 0.5], abs=0.05)


def test_pushes_that_come_to_rest_hardly_move_the_vertical():
    """0.5 s of 3 m/s^2 and back would show 17 degrees to one who took them for gravity."""
    segment, top_s, end_s = swing()
    time_s = np.arange(0.0, end_s, 0.005)
    pushed = np.zeros((time_s.size, 3))
    pushed[:, 0] = np.where(np.abs(time_s - top_s) < 0.5, 3.0, 0.0) * np.sign(time_s - top_s)
    found = fit(segment, time_s, pushed=pushed)
    assert off_vertical(segment, time_s, found).max() < 2.0


def test_half_a_percent_of_scale_is_followed():
    segment, _, end_s = swing()
    found = fit(segment, np.arange(0.0, end_s, 0.005), scale=1.005)
    assert found.misfit < 1.0


def test_a_gyro_with_swapped_axes_is_told_from_its_misfit():
    segment, _, end_s = swing()
    time_s = np.arange(0.0, end_s, 0.005)
    orientation, rate = segment.orientation(time_s), segment.rate(time_s)[:, [1, 0, 2]]
    force = rotation.rotate(rotation.conjugate(orientation), GRAVITY * UP)
    (found,) = fit_verticals([Measured(time_s, rate, force, 0, LOOSE)])
    assert found.misfit > 10.0


def test_the_stated_uncertainties_hold_the_truth():
    """Model data: many windows with speeds, drift and bias drawn as the model says."""
    rng = np.random.default_rng(5)
    segment = addresses(3, 12.0)
    time_s = np.arange(0.0, 12.0, 0.01)
    scaled = []
    for _ in range(60):
        bias = np.radians(1.0) * rng.standard_normal(3)
        speed = np.repeat(rng.normal(0.0, 0.1, (121, 3)), 10, axis=0)[: time_s.size]
        pushed = np.gradient(speed, time_s, axis=0)
        found = fit(segment, time_s, bias=bias, pushed=pushed)
        scaled.append((found.bias - bias) / np.sqrt(np.diag(found.bias_covariance)))
    within = np.mean(np.abs(scaled) < 1.96)
    assert within > 0.9
