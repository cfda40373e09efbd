"""A sensor that no longer sits as it was calibrated is found and said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis import rotation
from analysis.results import Calibration, Swing
from analysis.samples import SampleTable
from analysis.session import analyse_session
from tests.support.range_sessions import RangeSession, range_session

LONG_AXIS, FORWARD_AXIS, RIGHT_AXIS = (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def slipped(session: RangeSession, segment: str, axis: tuple, degrees: float) -> list[Swing]:
    """The session's swings with a sensor turned about an axis of its segment since calibration."""
    tables = {"pelvis": session.pelvis, "upper_back": session.upper_back}
    mounting = getattr(session.calibration, segment).rotation
    about = rotation.rotate(rotation.conjugate(mounting), np.asarray(axis))
    back = rotation.from_rotation_vector(-np.radians(degrees) * about)
    table, start_s = tables[segment], session.calibration.from_s
    after = table.time_s > start_s
    tables[segment] = SampleTable(
        table.time_s,
        np.where(after[:, None], rotation.rotate(back, table.gyro), table.gyro),
        np.where(after[:, None], rotation.rotate(back, table.accel), table.accel),
    )
    return analyse_session(
        tables["pelvis"], tables["upper_back"], [session.calibration], session.golfer
    )


def flagged(swing: Swing) -> list[str]:
    return [flag.text for flag in swing.flags if flag.code == "slipped"]


@pytest.mark.parametrize("segment", ["pelvis", "upper_back"])
@pytest.mark.parametrize(
    ("axis", "degrees"),
    [(FORWARD_AXIS, 22.0), (FORWARD_AXIS, -22.0), (RIGHT_AXIS, 45.0), (RIGHT_AXIS, -45.0)],
)
def test_a_sensor_that_slipped_far_is_named_and_keeps_the_swing_out_of_averages(
    segment: str, axis: tuple, degrees: float
):
    swings = slipped(range_session(51, 2), segment, axis, degrees)
    assert swings
    for swing in swings:
        (text,) = flagged(swing)
        assert segment.replace("_", " ") in text
        assert not swing.usable


def test_the_upper_back_s_bend_forward_shows_a_slip_about_its_long_axis():
    swings = slipped(range_session(51, 2), "upper_back", LONG_AXIS, 40.0)
    assert all(flagged(swing) for swing in swings)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_lean_to_the_lead_side_is_stranger_than_one_to_the_trail_side(hand: str):
    """The trail shoulder is lower at address as it is, here by some 4 degrees."""
    session, side = range_session(51, 1, hand=hand), 1.0 if hand == "right" else -1.0
    to_trail, to_lead = (
        slipped(session, "upper_back", FORWARD_AXIS, side * degrees) for degrees in (12.0, -16.0)
    )
    assert not any(flagged(swing) for swing in to_trail)
    assert all(flagged(swing) for swing in to_lead)


def test_the_better_stand_and_bow_are_known_the_smaller_a_slip_is_seen():
    session = range_session(51, 1)
    known = replace(session.calibration.pelvis, tilt_u_rad=0.0, heading_u_rad=0.0)
    sure = replace(session, calibration=replace(session.calibration, pelvis=known))
    for given, expected in ((session, False), (sure, True)):
        swings = slipped(given, "pelvis", FORWARD_AXIS, 11.5)
        assert [bool(flagged(swing)) for swing in swings] == [expected]


@pytest.mark.parametrize(("seed", "soft_tissue"), [(51, False), (71, True), (72, True)])
def test_golfers_whose_sensors_stayed_are_not_accused(seed: int, soft_tissue: bool):
    swings = range_session(seed, 2, soft_tissue=soft_tissue).analysed()
    assert swings
    assert not any(flagged(swing) for swing in swings)


def test_a_sensor_taken_as_worn_in_segment_axes_cannot_have_slipped():
    session = range_session(51, 2)
    calibration = Calibration(session.calibration.pelvis, session.calibration.upper_back)
    leaning = RangeSession(session.pelvis, session.upper_back, calibration, session.golfer, (), ())
    swings = slipped(leaning, "pelvis", FORWARD_AXIS, 22.0)
    assert swings
    assert not any(flagged(swing) for swing in swings)
