"""Standard uncertainties of a swing's numbers: complete, made of the causes, right in size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import rotation
from analysis import swing as swing_module
from analysis.calibration import worn_in_segment_axes
from analysis.columns import COLUMNS
from analysis.error_causes import RIDING, SCALE_U, SQUARE
from analysis.joint_effects import joint_direction
from analysis.mounting_effect import mounting_uncertainty
from analysis.results import Fixing, GolferFacts, Handedness, Interval, Sex
from analysis.samples import SampleTable
from analysis.segment_effects import CAUSES, RIDE, RIDES, SCALE, SLEW, angle_rows
from analysis.session import analyse_session, analyse_window
from analysis.uncertainty import cause_effects, column_uncertainty
from sensors.faults import SensorFaults, SoftTissue
from sensors.golfer_simulation import DWELLING_GOLFER, LONG_TURN_GOLFER, SimulatedRangeSession
from sensors.practice_plan import PracticePlan
from tests.support.range_sessions import range_session

FACTS = GolferFacts(Handedness.RIGHT, 1.78, 78.0, Sex.MALE)
UNCERTAIN = [column.name for column in COLUMNS if column.has_uncertainty]


@pytest.fixture(scope="module")
def session():
    return replace(range_session(11), golfer=FACTS)


@pytest.fixture(scope="module")
def swing(session):
    return session.analysed()[2]


def again(session, window, *, tables=None, calibration=None):
    pelvis, upper_back = tables or (session.pelvis, session.upper_back)
    calibrations = [calibration or session.calibration]
    return analyse_window(pelvis, upper_back, window, 1, calibrations, session.golfer)


def kept_readings(monkeypatch):
    """A list that gets what each swing's numbers are read from, from now on."""
    readings = []

    def kept(reading):
        readings.append(reading)
        return column_uncertainty(reading)

    monkeypatch.setattr(swing_module, "column_uncertainty", kept)
    return readings


def read(monkeypatch, session, window, **changes):
    """What a swing's numbers were read from."""
    readings = kept_readings(monkeypatch)
    again(session, window, **changes)
    return readings[-1]


def scaled(table, axis, factor):
    gain = np.where(np.arange(3) == axis, factor, 1.0)
    return SampleTable(table.time_s, table.gyro * gain, table.accel, table.time_u_s)


def with_clock(table, *, late_s=0.0, u_s=0.0):
    return SampleTable(table.time_s + late_s, table.gyro, table.accel, u_s)


def one_swing(golfer, faults, fixing=Fixing.UNKNOWN):
    """The only swing of a session with two such sensors, worn in segment axes."""
    whole = SimulatedRangeSession(
        PracticePlan(swings=1, busy=0.2), {"pelvis": faults, "upper_back": faults}, 7, golfer
    )
    samples = [whole.sensor(name) for name in ("pelvis", "upper_back")]
    tables = [SampleTable(s.time_s, s.gyro, s.accel) for s in samples]
    (found,) = analyse_session(*tables, [worn_in_segment_axes().fixed(fixing, fixing)], FACTS)
    return found


def test_every_column_that_can_be_uncertain_is_in_each_swing(session):
    for found in session.analysed():
        assert set(found.uncertainty) == set(UNCERTAIN)
        for name, u in found.uncertainty.items():
            assert 0.0 < u < np.inf, name
            assert 0.0 <= found.lasting_uncertainty[name] <= u, name


def test_without_body_facts_only_power_goes_without(session, swing):
    bare = again(replace(session, golfer=GolferFacts()), swing.window)
    missing = set(UNCERTAIN) - set(bare.uncertainty)
    assert missing == {name for name in UNCERTAIN if "power" in name}


def test_a_swing_without_a_calibration_is_said_to_be_far_less_certain(session, swing):
    worn = again(session, swing.window, calibration=worn_in_segment_axes())
    assert set(worn.uncertainty) == set(UNCERTAIN)
    for name in ("upper_back_turn_top_deg", "pelvis_forward_tilt_top_deg"):
        assert worn.uncertainty[name] > 2.0 * swing.uncertainty[name]


@pytest.mark.parametrize("axis", range(3))
@pytest.mark.parametrize(
    "column",
    [
        "upper_back_turn_top_deg",
        "separation_top_deg",
        "upper_back_peak_dps",
        "upper_back_runway_deg",
        "upper_back_mean_rate_dps2",
        "speed_gain",
    ],
)
def test_a_scale_error_moves_a_number_as_its_sensitivity_says(
    monkeypatch, session, swing, axis, column
):
    """Against the analysis itself with one axis of the upper back's gyro 0.5 % off."""
    row = cause_effects(read(monkeypatch, session, swing.window))[column]
    expected = row[CAUSES + SCALE.start + axis] / SCALE_U
    low, high = (
        again(
            session,
            swing.window,
            tables=(session.pelvis, scaled(session.upper_back, axis, 1.0 + off)),
        ).metrics[column]
        for off in (-0.005, 0.005)
    )
    # gravity over the window takes back a part of what a scale error tilts: an absolute allowance
    size = abs(swing.metrics[column])
    assert (high - low) / 0.01 == pytest.approx(expected, rel=0.1, abs=0.08 * size)


def test_mountings_move_numbers_as_an_analysis_with_turned_mountings_does(session, swing):
    """Against numerical sensitivity (JCGM 100:2008, 5.1.3, note 2), the long axes alone."""
    calibration = session.calibration
    known = replace(
        calibration,
        pelvis=replace(calibration.pelvis, tilt_u_rad=0.0, heading_u_rad=0.0),
        upper_back=replace(calibration.upper_back, tilt_u_rad=0.0, heading_u_rad=0.0),
    )
    tilted = replace(
        calibration,
        pelvis=replace(calibration.pelvis, heading_u_rad=0.0),
        upper_back=replace(calibration.upper_back, heading_u_rad=0.0),
    )
    numerical = mounting_uncertainty(
        session.pelvis, session.upper_back, swing, [tilted], session.golfer
    )
    with_it, without = (again(session, swing.window, calibration=c) for c in (tilted, known))
    for column in (
        "pelvis_turn_top_deg",
        "upper_back_turn_top_deg",
        "separation_top_deg",
        "separation_max_deg",
        "joint_separation_top_deg",
        "pelvis_obliquity_top_deg",
        "upper_back_forward_tilt_top_deg",
        "pelvis_peak_dps",
        "upper_back_runway_deg",
        "transition_lead_ms",
    ):
        part = np.sqrt(with_it.uncertainty[column] ** 2 - without.uncertainty[column] ** 2)
        allowed = 0.02 * with_it.uncertainty[column]
        assert part == pytest.approx(numerical[column], rel=0.1, abs=allowed), column


def test_a_late_clock_moves_times_and_what_is_read_at_them(session, swing):
    """One sensor 2 ms late by a clock that says so, against that analysis."""
    late_s, u_s = 0.002, 0.02
    tables = (with_clock(session.pelvis, u_s=u_s), session.upper_back)
    stated = again(session, swing.window, tables=tables)
    moved = again(
        session,
        swing.window,
        tables=(with_clock(session.pelvis, late_s=late_s), session.upper_back),
    )
    for column in ("transition_lead_ms", "peak_gap_ms", "pelvis_reversal_s", "separation_top_deg"):
        by_clock = np.sqrt(stated.uncertainty[column] ** 2 - swing.uncertainty[column] ** 2)
        seen = abs(moved.metrics[column] - swing.metrics[column]) / late_s
        assert seen == pytest.approx(by_clock / u_s, rel=0.05, abs=0.5), column
    for column in ("pelvis_runway_s", "pelvis_peak_dps", "upper_back_turn_top_deg"):
        assert stated.uncertainty[column] == pytest.approx(swing.uncertainty[column], rel=0.05)


@pytest.mark.parametrize("from_s", [-0.9, -0.5])
def test_stamps_drawn_to_a_clock_within_the_swing_move_numbers_as_stated(
    monkeypatch, session, swing, from_s
):
    """The upper back's run 1 % slow for half a second before or around the top."""
    begin_s = swing.metrics["top_s"] + from_s
    time_s = session.upper_back.time_s
    late_s = 0.01 * (np.clip(time_s - begin_s, 0.0, 0.5) - 0.5)
    drawn = replace(session.upper_back, time_s=time_s + late_s)
    tables = (session.pelvis, drawn)
    row = cause_effects(read(monkeypatch, session, swing.window, tables=tables))
    moved = again(session, swing.window, tables=tables)
    for column, allowed in {
        "backswing_s": 2e-4,
        "takeaway_s": 2e-4,
        "downswing_s": 2e-4,
        "tempo": 0.005,
        "transition_lead_ms": 0.2,
        "upper_back_runway_s": 2e-4,
        "upper_back_runway_deg": 0.05,
        "upper_back_turn_top_deg": 0.05,
        "separation_top_deg": 0.05,
        "upper_back_peak_dps": 0.3,
    }.items():
        seen = moved.metrics[column] - swing.metrics[column]
        # gravity over the window takes back a part of a turn, as of a scale error
        assert row[column][CAUSES + SLEW] == pytest.approx(seen, rel=0.2, abs=allowed), column
        assert row[column][SLEW] == pytest.approx(0.0, abs=allowed), column
        assert abs(seen) <= 1.05 * moved.uncertainty[column] + allowed, column
    assert moved.uncertainty["backswing_s"] > 1.5 * swing.uncertainty["backswing_s"]


@pytest.mark.parametrize("golfer", [LONG_TURN_GOLFER, DWELLING_GOLFER])
def test_riding_moves_numbers_as_stated_for_a_sensor_of_the_middle(monkeypatch, golfer):
    """The stated mean effect of riding against the same swing worn rigidly and riding."""
    swings, readings = {}, kept_readings(monkeypatch)
    for tissue in (None, SoftTissue(9.8, 0.175)):
        swings[tissue is None] = one_swing(golfer, SensorFaults(soft_tissue=tissue))
    row = cause_effects(readings[-1])
    for column, allowed in {
        "upper_back_reversal_s": 0.0005,
        "pelvis_reversal_s": 0.0005,
        "takeaway_s": 0.0007,
        "pelvis_peak_s": 0.0008,
        "pelvis_peak_dps": 0.6,
        "upper_back_peak_dps": 0.6,
        "pelvis_runway_deg": 0.25,
        "upper_back_turn_top_deg": 0.12,
    }.items():
        name = "top_s" if column == "upper_back_reversal_s" else column
        seen = swings[False].metrics[name] - swings[True].metrics[name]
        stated = row[name][RIDING] / np.sqrt(0.5)
        assert stated == pytest.approx(seen, rel=0.2, abs=allowed), column


def test_the_less_is_known_of_what_holds_it_the_more_riding_adds_to_the_uncertainty(session, swing):
    rigid, strapped, unknown = (
        again(session, swing.window, calibration=session.calibration.fixed(one, one)).uncertainty
        for one in (Fixing.RIGID, Fixing.STRAPPED, Fixing.UNKNOWN)
    )
    for column in ("pelvis_peak_dps", "upper_back_peak_dps", "top_s", "pelvis_runway_deg"):
        assert rigid[column] < strapped[column] < unknown[column], column


@pytest.mark.parametrize("ride", range(len(RIDES)))
def test_what_undoing_leaves_of_a_ride_is_stated_where_sensors_are_said_to_be_strapped(
    monkeypatch, ride
):
    """Each spring of the uncertainty put into the sensors, against the same swing worn rigidly."""
    rigid = one_swing(LONG_TURN_GOLFER, SensorFaults())
    readings = kept_readings(monkeypatch)
    riding = one_swing(
        LONG_TURN_GOLFER, SensorFaults(soft_tissue=SoftTissue(*RIDES[ride])), Fixing.STRAPPED
    )
    row = cause_effects(readings[-1])
    for column, allowed in {
        "top_s": 0.0003,
        "pelvis_reversal_s": 0.0003,
        "pelvis_peak_s": 0.0004,
        "upper_back_peak_s": 0.0005,
        "pelvis_peak_dps": 0.6,
        "upper_back_peak_dps": 0.6,
        "upper_back_runway_s": 0.0006,
        "pelvis_runway_deg": 0.15,
        "upper_back_turn_top_deg": 0.08,
    }.items():
        own = row[column][RIDE.start + ride] + row[column][CAUSES + RIDE.start + ride]
        stated = own * np.sqrt(len(RIDES)) + row[column][RIDING]
        seen = riding.metrics[column] - rigid.metrics[column]
        assert stated == pytest.approx(seen, rel=0.2, abs=allowed), column


def test_a_dwelling_reversal_is_less_certain():
    """As its angular acceleration is small, everything that tips the velocity moves it far."""
    quick, slow = (
        one_swing(golfer, SensorFaults(gyro_noise=0.05)).uncertainty
        for golfer in (LONG_TURN_GOLFER, DWELLING_GOLFER)
    )
    assert slow["pelvis_reversal_s"] > 1.2 * quick["pelvis_reversal_s"]
    assert slow["top_s"] > 1.2 * quick["top_s"]


def test_what_a_separation_shares_with_its_turns_is_not_counted_twice(session, swing):
    """Runway, peak and rate are tied by peak² = 2 rate runway, and so are their errors."""
    effects = swing.uncertainty
    apart = np.hypot(
        2.0 * effects["upper_back_peak_dps"] / swing.metrics["upper_back_peak_dps"],
        effects["upper_back_runway_deg"] / swing.metrics["upper_back_runway_deg"],
    )
    stated = effects["upper_back_mean_rate_dps2"] / swing.metrics["upper_back_mean_rate_dps2"]
    assert stated != pytest.approx(apart, rel=0.02)
    assert stated < 1.5 * apart


@given(st.lists(st.floats(-0.7, 0.7), min_size=6, max_size=6), st.sampled_from([-1.0, 1.0]))
def test_the_sensitivity_of_the_joint_is_the_derivative_of_its_axial_angle(angles, sign):
    pelvis, upper_back = rotation.from_cardan_yxz(np.array(angles).reshape(2, 3))
    axes = rotation.to_matrix(np.stack((pelvis, upper_back)))
    found = joint_direction(axes[..., None], sign)[:, 0]
    small = rotation.from_rotation_vector(1e-6 * np.vstack((np.zeros(3), np.eye(3))))
    moved = rotation.multiply(small, upper_back[None])
    axial = rotation.spine_joint_angles(pelvis[None], moved)[:, 2]
    assert found == pytest.approx(-sign * (axial[1:] - axial[0]) / 1e-6, abs=1e-4)


@given(st.floats(-3.0, 3.0), st.floats(-1.2, 1.2), st.floats(-3.0, 3.0))
def test_the_sensitivity_of_a_segments_angles_is_their_derivative(turn, obliquity, tilt):
    angles = np.array([turn, obliquity, tilt])
    placed = rotation.from_cardan_yxz(angles)
    rows = angle_rows(rotation.to_matrix(placed)[:, 2:])[:, :, 0]
    for axis in range(3):
        small = rotation.from_rotation_vector(1e-6 * np.eye(3)[axis])
        moved = rotation.cardan_yxz(rotation.multiply(small, placed))
        slope = np.angle(np.exp(1j * (moved - angles))) / 1e-6
        assert rows[:, axis] == pytest.approx(slope, abs=2e-4)


def test_joint_separation_alone_carries_shoulders_off_square(monkeypatch, session, swing):
    rows = cause_effects(read(monkeypatch, session, swing.window))
    assert abs(rows["joint_separation_top_deg"][SQUARE]) > 0.1
    assert {name for name, row in rows.items() if row[SQUARE] != 0.0} == {
        "joint_separation_top_deg",
        "joint_separation_max_deg",
        "joint_separation_gain_deg",
    }


def test_what_another_calibration_draws_anew_holds_the_mounting_and_not_the_noise(session, swing):
    assert swing.lasting_uncertainty["pelvis_forward_tilt_top_deg"] > np.degrees(0.02)
    assert swing.lasting_uncertainty["address_s"] == 0.0
    assert swing.lasting_uncertainty["impact_s"] == 0.0


def test_the_window_is_the_same_whatever_lies_around_it(session, swing):
    narrow = Interval(swing.window.start_s, swing.window.end_s)
    tables = tuple(
        t.between(narrow.start_s, narrow.end_s) for t in (session.pelvis, session.upper_back)
    )
    assert again(session, narrow, tables=tables).uncertainty == swing.uncertainty


@pytest.mark.parametrize("before_s", [0.02, 0.6])
def test_samples_that_begin_with_the_swing_have_their_uncertainties(session, swing, before_s):
    first_s = swing.events["takeaway_s"] - before_s
    tables = tuple(
        t.between(first_s, swing.window.end_s) for t in (session.pelvis, session.upper_back)
    )
    short = again(session, swing.window, tables=tables)
    assert set(short.uncertainty) == set(UNCERTAIN)
    assert all(0.0 < u < np.inf for u in short.uncertainty.values())
    assert short.uncertainty["upper_back_turn_top_deg"] >= (
        0.9 * swing.uncertainty["upper_back_turn_top_deg"]
    )
