"""The fast reading of a table of numbers and the plain one are the same reading."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.errors import RecordingError
from sensors.motion_table import read_motion_table

CHANNELS = ("latency", "x", "y")

finite = st.floats(allow_nan=False, allow_infinity=False)
cells = st.one_of(
    finite.map(repr),
    finite.map(lambda value: f"{value:.6f}"),
    st.integers(-(10**6), 10**6).map(str),
    st.sampled_from(["+1.5", "1.", ".5", "1E-3", " 2 ", "-0"]),
)
odd_cells = st.sampled_from(
    ["n/a", "", "nan", "1_0", "٣", "0x1", "1e999", "1 2", '"1"', "#", "\x00"]
)


@given(st.lists(st.lists(cells, min_size=3, max_size=3), min_size=1, max_size=30))
@settings(max_examples=200, deadline=None)
def test_every_number_is_read_to_the_bit(tmp_path_factory, table):
    path = tmp_path_factory.getbasetemp() / "table.tsv"
    path.write_bytes("".join("\t".join(row) + "\n" for row in table).encode())
    read = read_motion_table(path, CHANNELS, [0, 2])
    assert read.tobytes() == np.array([[float(r[0]), float(r[2])] for r in table]).tobytes()


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_one_odd_cell_is_found_where_it_stands(tmp_path_factory, data):
    row_count = data.draw(st.integers(1, 20))
    table = [["1", "2", "3"] for _ in range(row_count)]
    row, column = data.draw(st.integers(0, row_count - 1)), data.draw(st.integers(0, 2))
    table[row][column] = data.draw(odd_cells)
    path = tmp_path_factory.getbasetemp() / "table.tsv"
    path.write_bytes("".join("\t".join(cells) + "\n" for cells in table).encode())
    with pytest.raises(RecordingError) as caught:
        read_motion_table(path, CHANNELS, [0, 1, 2])
    assert (caught.value.line, caught.value.column) == (row + 1, column + 1)


def test_a_column_that_is_not_used_may_hold_anything(tmp_path):
    path = tmp_path / "table.tsv"
    path.write_text("1\tn/a\t3\n2\thello\t4\n")
    assert read_motion_table(path, CHANNELS, [0, 2]).tolist() == [[1.0, 3.0], [2.0, 4.0]]


def test_rows_across_the_borders_of_blocks_are_whole_and_counted(tmp_path):
    """9 MB are three blocks; the fault stands in the last one."""
    path = tmp_path / "table.tsv"
    count = 600_000
    text = "".join(f"{i}\t0.5\t{i}.25\n" for i in range(count))
    path.write_text(text)
    read = read_motion_table(path, CHANNELS, [0, 2])
    assert (read[:, 0] == np.arange(count)).all()
    assert (read[:, 1] == np.arange(count) + 0.25).all()
    path.write_text(text + "x\t0\t0\n")
    with pytest.raises(RecordingError, match=f"line {count + 1}, column 1: channel latency"):
        read_motion_table(path, CHANNELS, [0, 1, 2])
