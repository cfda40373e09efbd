"""Integration against a closed-form motion and two general-purpose orientation libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from analysis.integration import integrate
from analysis.samples import RateSample
from tests.support.orientation_libraries import gyro_only_imufusion, gyro_only_vqf

STEP_S = 0.005
TIME_S = np.arange(0.0, 4.0, STEP_S)
CONE, SPIN = np.radians(20.0), 2.0 * np.pi * 3.0
"""Half angle of the cone, and its rate: 3 turns a second."""


def off_deg(found, expected):
    """Angles between rotations, both counted from their first row, degrees."""
    found, expected = (Rotation.from_quat(q, scalar_first=True) for q in (found, expected))
    relative = (found[0].inv() * found).inv() * (expected[0].inv() * expected)
    return np.degrees(relative.magnitude())


def coning(time_s):
    """Classical coning motion: the axis of a constant rotation goes round a circle.

    Orientation and body rate in closed form (Bortz 1971, IEEE Trans Aerosp Electron Syst 7:61-66;
    Savage 1998, J Guidance Control Dyn 21:19-28): a plain sum of the rates misses the steady turn
    about z that the coning makes.
    """
    phase, half = SPIN * time_s, 0.5 * CONE
    orientation = np.stack(
        (
            np.full_like(phase, np.cos(half)),
            np.sin(half) * np.cos(phase),
            np.sin(half) * np.sin(phase),
            np.zeros_like(phase),
        ),
        axis=-1,
    )
    rate = SPIN * np.stack(
        (
            -np.sin(CONE) * np.sin(phase),
            np.sin(CONE) * np.cos(phase),
            np.full_like(phase, -2.0 * np.sin(half) ** 2),
        ),
        axis=-1,
    )
    return orientation, rate


def mean_rate(time_s):
    """The coning rate averaged over each step, in closed form (first row: of a step before)."""
    before, after = SPIN * (time_s - STEP_S), SPIN * time_s
    return np.stack(
        (
            np.sin(CONE) * (np.cos(after) - np.cos(before)) / STEP_S,
            np.sin(CONE) * (np.sin(after) - np.sin(before)) / STEP_S,
            np.full_like(after, -2.0 * SPIN * np.sin(0.5 * CONE) ** 2),
        ),
        axis=-1,
    )


def wandering_rate(time_s):
    """As fast as a trunk in a swing, about an axis that keeps changing, rad/s."""
    return np.stack(
        (3.0 * np.sin(2.0 * time_s), 8.0 * np.cos(3.0 * time_s), 2.0 * np.sin(time_s + 1.0)),
        axis=-1,
    )


def plain_product(rate):
    """The exact rotation of each sample's own angle, without a coning term."""
    steps = Rotation.from_rotvec(rate * STEP_S)
    out = [Rotation.identity()]
    for step in steps[1:]:
        out.append(out[-1] * step)
    return Rotation.concatenate(out).as_quat(scalar_first=True)


def test_the_coning_motion_comes_back_in_closed_form():
    truth, _ = coning(TIME_S)
    found = integrate(TIME_S, mean_rate(TIME_S), truth[0], kind=RateSample.MEAN)
    assert off_deg(found, truth)[-1] < 0.01
    plain = off_deg(plain_product(mean_rate(TIME_S)), truth)[-1]
    assert plain > 0.3
    assert off_deg(found, truth)[-1] < 0.03 * plain


def test_point_samples_of_the_coning_motion_leave_an_error_of_the_square_of_the_step():
    """Rates taken as linear between samples; 3 Hz is already faster than a trunk goes round."""
    errors = []
    for step_s in (STEP_S, STEP_S / 2.0, STEP_S / 4.0):
        time_s = np.arange(0.0, 4.0, step_s)
        truth, rate = coning(time_s)
        errors.append(off_deg(integrate(time_s, rate, truth[0]), truth).max())
    assert errors[0] < 0.4
    assert errors[0] / errors[1] == pytest.approx(4.0, abs=0.2)
    assert errors[1] / errors[2] == pytest.approx(4.0, abs=0.2)


@pytest.mark.parametrize(
    ("library", "tolerance_deg"), [(gyro_only_vqf, 0.01), (gyro_only_imufusion, 0.05)]
)
def test_libraries_turn_the_same_rates_into_the_same_orientation(library, tolerance_deg):
    """They take a sample as the mean over its step and leave coning out; imufusion is single
    precision. Four seconds at up to 500 deg/s."""
    rate = wandering_rate(TIME_S)
    expected = library(rate, STEP_S)
    found = integrate(TIME_S, rate, kind=RateSample.MEAN)
    assert off_deg(found, expected).max() < tolerance_deg


def test_point_samples_agree_with_a_library_fed_with_the_means_of_neighbours():
    rate = wandering_rate(TIME_S)
    means = np.concatenate((rate[:1], 0.5 * (rate[1:] + rate[:-1])))
    expected = gyro_only_vqf(means, STEP_S)
    assert off_deg(integrate(TIME_S, rate), expected).max() < 0.01
