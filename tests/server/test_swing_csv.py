"""CSV of swings: one table for a recording and for the store, and nothing lost in it."""

import csv
import io
import math

from analysis.columns import COLUMNS
from analysis.results import Flag, Interval, Swing
from server.swing_csv import SwingRow, csv_header, csv_lines


def swing(**changes):
    values = {
        "number": 3,
        "window": Interval(1.0, 4.0),
        "events": {"takeaway_s": 1.5, "top_s": 2.3},
        "metrics": {"separation_top_deg": 0.1 + 0.2, "transition_lead_ms": -12.5},
        "uncertainty": {"separation_top_deg": 1.0 / 3.0},
    }
    return Swing(**(values | changes))


def read_back(lines):
    return list(csv.DictReader(io.StringIO("".join(lines), newline="")))


def test_every_metric_and_its_uncertainty_has_a_column_in_the_order_of_the_dictionary():
    names = [column.name for column in COLUMNS]
    header = csv_header()
    assert header[: len(names)] == names
    assert header[0] == "swing"
    assert "separation_top_deg_u" in header[len(names) :]
    assert len(set(header)) == len(header)


def test_a_number_reads_back_to_the_very_same_bits():
    (row,) = read_back(csv_lines([SwingRow.of(swing())]))
    assert float(row["separation_top_deg"]) == 0.1 + 0.2
    assert float(row["separation_top_deg_u"]) == 1.0 / 3.0
    assert row["transition_lead_ms"] == "-12.5"
    assert math.copysign(1.0, float(row["transition_lead_ms"])) < 0


def test_what_could_not_be_had_is_an_empty_cell():
    (row,) = read_back(csv_lines([SwingRow.of(swing())]))
    assert row["impact_s"] == ""


def test_quality_joins_the_codes_and_is_ok_without_any():
    flags = (Flag("gap", "Samples are missing."), Flag("clipped", "Out of range."))
    good, poor = read_back(csv_lines([SwingRow.of(swing()), SwingRow.of(swing(flags=flags))]))
    assert good["quality"] == "ok"
    assert poor["quality"] == "gap;clipped"


def test_a_text_that_would_be_a_formula_in_a_spreadsheet_is_only_text():
    row = SwingRow.of(swing(), leading=("=HYPERLINK()", -3.5))
    (read,) = read_back(csv_lines([row], leading=("golfer", "offset")))
    assert read["golfer"] == "'=HYPERLINK()"
    assert read["offset"] == "-3.5"
