"""Scale factors in the analysis: put right sample by sample, alike however samples are cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.mounting_effect import mounting_uncertainty
from analysis.samples import SampleTable, Segment
from analysis.scale_calibration import ScaleFactors
from analysis.scale_in_force import SegmentScale, put_right, scale_in_force
from analysis.session import SessionAnalysis, analyse_session, analyse_window
from tests.support.range_sessions import range_session

GAIN = {Segment.PELVIS: [1.005, 0.996, 1.004], Segment.UPPER_BACK: [0.995, 1.006, 0.997]}
U = np.full(3, 0.0004)
PEAKS = ("pelvis_peak_dps", "upper_back_peak_dps")


def factors(values, u=U):
    return ScaleFactors(np.asarray(values, dtype=np.float64), np.asarray(u))


def known(from_s=-np.inf, u=U):
    """Factors that undo GAIN."""
    return [
        SegmentScale(segment, factors(1.0 / np.array(gain), u), from_s)
        for segment, gain in GAIN.items()
    ]


@pytest.fixture(scope="module")
def session():
    return range_session(11)


@pytest.fixture(scope="module")
def off(session):
    """The same samples from gyros whose scale is off by GAIN."""
    return [
        replace(table, gyro=table.gyro * np.array(gain))
        for table, gain in zip((session.pelvis, session.upper_back), GAIN.values(), strict=True)
    ]


def test_each_sample_takes_the_factors_in_force_at_its_own_time():
    time_s = np.arange(6.0)
    ones = np.ones((6, 3))
    table = SampleTable(time_s, ones, ones, 0.001)
    scales = [
        SegmentScale(Segment.PELVIS, None, 4.0),
        SegmentScale(Segment.UPPER_BACK, factors([9.0, 9.0, 9.0])),
        SegmentScale(Segment.PELVIS, factors([1.1, 1.2, 1.3]), 2.0),
    ]
    found = put_right(table, Segment.PELVIS, scales)
    assert found.gyro[:, 1].tolist() == [1.0, 1.0, 1.2, 1.2, 1.0, 1.0]
    assert (found.time_u_s, found.accel.tolist()) == (0.001, ones.tolist())
    in_force = [scale_in_force(scales, Segment.PELVIS, at_s) for at_s in (1.9, 2.0, 3.9, 4.0)]
    assert [one is not None for one in in_force] == [False, True, True, False]


def test_of_factors_from_the_same_moment_the_last_named_hold():
    first, second = factors([1.1] * 3), factors([1.2] * 3)
    scales = [SegmentScale(Segment.PELVIS, one) for one in (first, second)]
    assert scale_in_force(scales, Segment.PELVIS, 0.0) is second
    table = SampleTable(np.arange(2.0), np.ones((2, 3)), np.ones((2, 3)))
    assert put_right(table, Segment.PELVIS, scales).gyro[0, 0] == 1.2


def test_without_factors_the_samples_are_the_very_same(session):
    scales = [SegmentScale(Segment.UPPER_BACK, factors([1.1] * 3))]
    assert put_right(session.pelvis, Segment.PELVIS, scales) is session.pelvis


def test_pieces_whole_session_and_windows_give_the_same_bits(session, off):
    """Factors come into force in the middle, in the swing of a window too."""
    middle_s = session.analysed()[2].events["top_s"]
    scales = known(from_s=middle_s)
    whole = analyse_session(*off, [session.calibration], session.golfer, scales)
    live = SessionAnalysis([session.calibration], session.golfer, scales)
    pieces = []
    for first in range(0, len(off[0]), 777):
        for segment, table in zip(Segment, off, strict=True):
            pieces += live.push(segment, table.rows(first, min(first + 777, len(table))))
    pieces += live.finish()
    again = [
        analyse_window(
            *off, swing.window, swing.number, [session.calibration], session.golfer, scales
        )
        for swing in whole
    ]
    bare = [[replace(one, curves=None) for one in found] for found in (whole, pieces, again)]
    assert len(bare[0]) == 6
    assert bare[0] == bare[1] == bare[2]
    assert bare[0][0].metrics != session.analysed()[0].metrics
    first, last = (whole[at].metrics["pelvis_peak_dps"] for at in (0, -1))
    true = [session.analysed()[at].metrics["pelvis_peak_dps"] for at in (0, -1)]
    assert first / true[0] == pytest.approx(0.996, abs=0.001)
    assert last / true[1] == pytest.approx(1.0, abs=1e-4)


def test_factors_undo_the_error_of_the_scale(session, off):
    right = session.analysed()
    found = analyse_session(*off, [session.calibration], session.golfer, known())
    wrong = analyse_session(*off, [session.calibration], session.golfer)
    for name in PEAKS:
        true = np.array([swing.metrics[name] for swing in right])
        assert np.array([s.metrics[name] for s in found]) == pytest.approx(true, rel=1e-6)
        assert np.abs(np.array([s.metrics[name] for s in wrong]) / true - 1.0).min() > 0.003


def test_what_a_scale_check_has_measured_takes_the_place_of_what_is_known_beforehand(session, off):
    def peak_u(scales):
        swing = analyse_session(*off, [session.calibration], session.golfer, scales)[0]
        return swing.uncertainty["pelvis_peak_dps"], swing.metrics["pelvis_peak_dps"]

    prior, _ = peak_u([])
    measured, _ = peak_u(known())
    poor, speed = peak_u(known(u=np.full(3, 0.02)))
    assert measured < prior
    assert poor > 0.015 * speed


def test_the_part_of_the_mounting_is_that_of_the_right_samples(session, off):
    swing = session.analysed()[0]
    right = mounting_uncertainty(
        session.pelvis, session.upper_back, swing, [session.calibration], session.golfer
    )
    found = mounting_uncertainty(*off, swing, [session.calibration], session.golfer, known())
    assert found == pytest.approx(right, rel=1e-6)
