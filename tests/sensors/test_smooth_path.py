"""A path passes through its knots, smoothly up to the jerk."""

import numpy as np
import pytest

from sensors.smooth_path import Knot, derivatives, smooth_path

KNOTS = (
    Knot(1.0, 0.0),
    Knot(1.8, -40.0, 0.0, 900.0, 4000.0),
    Knot(2.1, 5.0, 300.0, 0.0, -9000.0),
    Knot(2.9, 60.0),
)


def test_a_path_takes_the_value_and_three_derivatives_of_every_knot():
    path = smooth_path(KNOTS)
    for knot in KNOTS:
        for side in (-1e-12, 1e-12):
            at = np.array([knot.time_s + side])
            found = [float(values[0]) for values in derivatives(path, at, 3)]
            np.testing.assert_allclose(found, knot[1:], atol=1e-4)


def test_outside_its_knots_a_path_rests():
    found = derivatives(smooth_path(KNOTS), np.array([0.0, 5.0]), 2)
    np.testing.assert_allclose(found, [[0.0, 60.0], [0.0, 0.0], [0.0, 0.0]], atol=1e-9)


def test_a_path_of_one_knot_stays_there():
    found = derivatives(smooth_path([Knot(2.0, 7.0)]), np.array([0.0, 2.5, 9.0]), 1)
    np.testing.assert_allclose(found, [[7.0] * 3, [0.0] * 3], atol=1e-12)


def test_the_derivative_is_that_of_the_value():
    path = smooth_path(KNOTS)
    time_s = np.linspace(1.0, 2.9, 20_001)
    value, velocity = derivatives(path, time_s, 1)
    middle = derivatives(path, 0.5 * (time_s[1:] + time_s[:-1]), 1)[1]
    np.testing.assert_allclose(np.diff(value) / np.diff(time_s), middle, atol=1e-3)
    assert np.abs(velocity).max() > 100.0


def test_scaling_multiplies_the_whole_path():
    at = np.linspace(1.0, 2.9, 50)
    np.testing.assert_allclose(
        derivatives(smooth_path(KNOTS, 0.5), at, 2),
        0.5 * np.array(derivatives(smooth_path(KNOTS), at, 2)),
        atol=1e-9,
    )


def test_knots_that_do_not_follow_each_other_are_refused_with_their_time():
    with pytest.raises(ValueError, match=r"increase in time.*2\.000000"):
        smooth_path([Knot(2.0, 0.0), Knot(2.0, 1.0)])
