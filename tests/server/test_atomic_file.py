"""A written file is whole or absent, and nothing is overwritten unasked."""

import pytest

from server.atomic_file import FileExistsAlreadyError, write_text


def test_the_file_holds_all_parts_and_nothing_else_is_left(tmp_path):
    write_text(tmp_path / "swings.csv", ["a,b\r\n", "1,2\r\n"])
    assert (tmp_path / "swings.csv").read_bytes() == b"a,b\r\n1,2\r\n"
    assert [path.name for path in tmp_path.iterdir()] == ["swings.csv"]


def test_a_file_that_is_there_stays_as_it_is(tmp_path):
    path = tmp_path / "swings.csv"
    path.write_text("mine")
    with pytest.raises(FileExistsAlreadyError, match=r"swings\.csv exists already"):
        write_text(path, ["new"])
    assert path.read_text() == "mine"


def test_a_file_that_is_there_is_replaced_when_asked(tmp_path):
    path = tmp_path / "swings.csv"
    path.write_text("old")
    write_text(path, ["new"], overwrite=True)
    assert path.read_text() == "new"


def test_a_failure_half_way_leaves_the_old_file_and_no_half_one(tmp_path):
    path = tmp_path / "swings.csv"
    path.write_text("old")

    def parts():
        yield "half of it"
        raise RuntimeError("the source broke")

    with pytest.raises(RuntimeError, match="the source broke"):
        write_text(path, parts(), overwrite=True)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_is_an_error_of_the_system(tmp_path):
    with pytest.raises(FileNotFoundError):
        write_text(tmp_path / "nowhere" / "swings.csv", ["a"])
