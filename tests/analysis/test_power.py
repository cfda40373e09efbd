"""Rotational power: de Leva's inertias, and the textbook's power of a turning body."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.events import AxialCurve
from analysis.power import axial_inertia, peak_power
from analysis.results import GolferFacts, Sex
from analysis.samples import Segment

MALE = GolferFacts(height_m=1.741, mass_kg=73.0, sex=Sex.MALE)
FEMALE = GolferFacts(height_m=1.735, mass_kg=61.9, sex=Sex.FEMALE)


@pytest.mark.parametrize(
    ("segment", "golfer", "inertia"),
    [
        (Segment.UPPER_BACK, MALE, 0.1474),
        (Segment.PELVIS, MALE, 0.0596),
        (Segment.UPPER_BACK, FEMALE, 0.1001),
        (Segment.PELVIS, FEMALE, 0.0501),
    ],
)
def test_the_reference_bodies_have_the_inertias_of_the_paper(
    segment: Segment, golfer: GolferFacts, inertia: float
):
    """I = m (r L)^2 of de Leva 1996, J Biomech 29:1223-1230, table 4, long axis, by hand."""
    assert axial_inertia(segment, golfer) == pytest.approx(inertia, abs=2e-4)


def test_inertia_grows_with_mass_and_the_square_of_height():
    bigger = GolferFacts(height_m=1.741 * 1.1, mass_kg=73.0 * 1.2, sex=Sex.MALE)
    ratio = axial_inertia(Segment.PELVIS, bigger) / axial_inertia(Segment.PELVIS, MALE)
    assert ratio == pytest.approx(1.2 * 1.1**2)


@pytest.mark.parametrize("missing", ["height_m", "mass_kg", "sex"])
def test_without_a_body_fact_there_is_no_inertia(missing: str):
    facts = {"height_m": 1.8, "mass_kg": 80.0, "sex": Sex.MALE} | {missing: None}
    assert axial_inertia(Segment.PELVIS, GolferFacts(**facts)) is None


def test_power_of_an_even_rise_is_the_work_over_the_time_at_its_end():
    """At constant acceleration a, power I a (a t) is greatest at the end: I a^2 T."""
    time_s = np.arange(0.0, 0.3, 0.005)
    curve = AxialCurve.through(time_s, 30.0 * time_s)
    assert peak_power(curve, 0.15, 0.0, 0.25) == pytest.approx(0.15 * 30.0**2 * 0.25, rel=0.03)
