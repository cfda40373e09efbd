"""Angular velocity to orientation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import rotation
from analysis.errors import SampleError
from analysis.integration import integrate, step_vectors
from analysis.samples import RateSample


def angle_between(first, second):
    difference = rotation.multiply(rotation.conjugate(first), second)
    return np.linalg.norm(rotation.to_rotation_vector(difference), axis=-1)


def wandering_rate(time_s):
    """A smooth rate whose axis changes all the time, rad/s."""
    return np.stack(
        (3.0 * np.sin(5.0 * time_s), 4.0 * np.cos(7.0 * time_s), 2.0 * np.sin(3.0 * time_s + 1.0)),
        axis=-1,
    )


def one_after_the_other(time_s, rate, start, kind):
    """The same product, step by step."""
    out = [np.asarray(start)]
    for step in rotation.from_rotation_vector(step_vectors(time_s, rate, kind)):
        out.append(rotation.multiply(out[-1], step))
    return np.array(out)


@given(
    st.lists(st.floats(1e-4, 0.3), min_size=1, max_size=40),
    st.floats(-20.0, 20.0),
    st.floats(0.0, 3.0),
)
def test_about_a_fixed_axis_any_steps_are_exact(steps_s, speed, direction):
    time_s = np.concatenate(([0.0], np.cumsum(steps_s)))
    axis = np.array([np.cos(direction), 0.0, np.sin(direction)])
    turned = integrate(time_s, np.outer(np.full(time_s.size, speed), axis))
    expected = rotation.from_rotation_vector(np.outer(speed * time_s, axis))
    assert angle_between(turned, expected).max() < 1e-11


@pytest.mark.parametrize("kind", list(RateSample))
@pytest.mark.parametrize("n", [1, 2, 3, 300, 4096, 4097, 4098, 9000])
def test_the_banded_solution_gives_what_step_after_step_gives(n, kind):
    rng = np.random.default_rng(n)
    time_s = np.cumsum(rng.uniform(0.003, 0.007, n))
    rate = rng.normal(0.0, 5.0, (n, 3))
    start = rotation.normalise(rng.normal(size=4))
    expected = one_after_the_other(time_s, rate, start, kind)
    assert integrate(time_s, rate, start, kind=kind) == pytest.approx(expected, abs=1e-12)


def test_steps_too_large_for_the_series_are_exact_as_well():
    time_s = np.arange(100) * 0.05
    rate = np.random.default_rng(0).normal(0.0, 30.0, (100, 3))
    expected = one_after_the_other(time_s, rate, rotation.IDENTITY, RateSample.INSTANT)
    assert integrate(time_s, rate) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("kind", list(RateSample))
def test_a_long_record_stays_a_unit_quaternion_and_equals_its_parts(kind):
    """Past the size at which it is worked on in chunks."""
    time_s = np.arange(150_000) * 0.005
    rate = wandering_rate(time_s)
    whole = integrate(time_s, rate, kind=kind)
    assert np.abs(np.linalg.norm(whole, axis=1) - 1.0).max() < 1e-12
    tail = integrate(time_s[100_000:], rate[100_000:], whole[100_000], kind=kind)
    # a part does not know the sample before its first, so MEAN lacks one coning term
    allowed = 1e-11 if kind is RateSample.INSTANT else 2e-5
    assert angle_between(tail, whole[100_000:]).max() < allowed


def test_the_error_falls_with_the_square_of_the_step():
    fine_s = np.linspace(0.0, 2.0, 40_001)
    truth = integrate(fine_s, wandering_rate(fine_s))[-1]
    errors = []
    for n in (201, 401, 801):
        time_s = np.linspace(0.0, 2.0, n)
        errors.append(float(angle_between(integrate(time_s, wandering_rate(time_s))[-1], truth)))
    assert errors[0] < np.radians(0.03)
    assert errors[0] / errors[1] > 3.5
    assert errors[1] / errors[2] > 3.5


def test_uneven_samples_and_a_gap_are_bridged_by_their_own_times():
    time_s = np.linspace(0.0, 2.0, 401)
    keep = np.ones(401, dtype=bool)
    keep[200:204] = False
    full = integrate(time_s, wandering_rate(time_s))
    holed = integrate(time_s[keep], wandering_rate(time_s[keep]))
    assert angle_between(holed[-1], full[-1]) < np.radians(0.1)


def test_mean_rates_over_each_step_give_the_turn_at_its_end():
    """A rate that grows evenly: its mean over a step is its value at the middle."""
    time_s = np.linspace(0.0, 1.0, 101)
    axis = np.array([0.0, 1.0, 0.0])
    at_middle = 4.0 * (time_s - 0.005)
    turned = integrate(time_s, np.outer(at_middle, axis), kind=RateSample.MEAN)
    assert rotation.to_rotation_vector(turned[-1]) == pytest.approx([0.0, 2.0, 0.0], abs=1e-12)


def test_turning_the_sensor_axes_turns_the_result_with_them():
    time_s = np.linspace(0.0, 1.0, 201)
    mounting = rotation.normalise(np.array([0.8, 0.3, -0.4, 0.2]))
    plain = integrate(time_s, wandering_rate(time_s))
    mounted = integrate(time_s, rotation.rotate(mounting, wandering_rate(time_s)))
    expected = rotation.multiply(rotation.multiply(mounting, plain), rotation.conjugate(mounting))
    assert angle_between(mounted, expected).max() < 1e-12


def test_no_samples_give_no_orientations_and_one_gives_the_start():
    assert integrate(np.zeros(0), np.zeros((0, 3))).shape == (0, 4)
    start = np.array([0.0, 1.0, 0.0, 0.0])
    assert integrate(np.zeros(1), np.ones((1, 3)), start).tolist() == [start.tolist()]


def test_shapes_that_do_not_fit_are_refused_by_name():
    with pytest.raises(SampleError, match=r"rate: expected shape \(3, 3\), received \(2, 3\)"):
        integrate(np.arange(3.0), np.zeros((2, 3)))
