"""The data dictionary: complete, in words, and the same as what a swing carries."""

from __future__ import annotations

from analysis.columns import BY_NAME, COLUMNS
from tests.support.range_sessions import range_session

ASKED_FOR = (
    "swing",
    "address_s",
    "takeaway_s",
    "top_s",
    "pelvis_turn_top_deg",
    "upper_back_turn_top_deg",
    "separation_top_deg",
    "separation_max_deg",
    "separation_gain_deg",
    "separation_gain_pct",
    "joint_separation_top_deg",
    "joint_separation_max_deg",
    "joint_separation_gain_deg",
    "separation_closing_peak_dps",
    "transition_lead_ms",
    "pelvis_peak_dps",
    "upper_back_peak_dps",
    "peak_gap_ms",
    "peak_order",
    "speed_gain",
    "backswing_s",
    "downswing_s",
    "tempo",
    "impact_s",
    "impact_method",
    "runway_deg",
    "runway_s",
    "mean_rate_dps2",
    "pelvis_runway_deg",
    "pelvis_runway_s",
    "pelvis_mean_rate_dps2",
    "upper_back_runway_deg",
    "upper_back_runway_s",
    "upper_back_mean_rate_dps2",
    "pelvis_obliquity_top_deg",
    "pelvis_forward_tilt_top_deg",
    "upper_back_obliquity_top_deg",
    "upper_back_forward_tilt_top_deg",
    "quality",
)
UNIT_ENDINGS = {
    "_s": "s",
    "_ms": "ms",
    "_deg": "°",
    "_dps": "°/s",
    "_dps2": "°/s²",
    "_pct": "%",
    "_w": "W",
    "_w_per_kg": "W/kg",
}


def test_every_column_that_was_asked_for_is_there_in_that_order():
    names = [column.name for column in COLUMNS]
    assert [name for name in names if name in ASKED_FOR] == list(ASKED_FOR)
    assert len(set(names)) == len(names) == len(BY_NAME)


def test_every_column_says_what_it_is_in_one_sentence():
    for column in COLUMNS:
        assert column.label[:1].isupper(), column.name
        assert column.description.endswith("."), column.name
        assert 20 < len(column.description) < 200, column.name
        assert 0 <= column.decimals <= 3, column.name


def test_the_unit_shown_is_the_one_in_the_name():
    for column in COLUMNS:
        endings = [end for end in UNIT_ENDINGS if column.name.endswith(end)]
        expected = UNIT_ENDINGS[max(endings, key=len)] if endings else ""
        assert column.unit == expected, column.name


def test_what_rests_on_impact_or_on_body_tables_is_called_an_estimate():
    estimates = {column.name for column in COLUMNS if column.estimate}
    assert {"impact_s", "downswing_s", "tempo"} <= estimates
    assert {name for name in BY_NAME if "power" in name} <= estimates
    assert "separation_top_deg" not in estimates


def test_a_swing_carries_exactly_the_columns_of_the_dictionary():
    swing = range_session(11).analysed()[0]
    assert set(swing.metrics) == set(BY_NAME) - {"swing", "quality"}
    for name, value in swing.metrics.items():
        assert value is None or isinstance(value, str if BY_NAME[name].text else float), name
