"""A recording analysed, imported and exported: everywhere the same numbers, to the last bit."""

import csv
import io
import json

import pytest

from analysis.columns import COLUMNS
from recordings import DEMO_RECORDING
from server.reanalyse import reanalyse
from server.settings import sqlite_url
from server.store import Store
from server.swing_csv import csv_header
from tests.support.bare_swing import bare


def table(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.fixture
def analysed(torsolog, tmp_path):
    file = tmp_path / "analysed.csv"
    assert torsolog("analyse", DEMO_RECORDING, "--csv", file).code == 0
    return table(file.read_bytes().decode("utf-8"))


def test_analyse_prints_one_row_a_swing_within_the_terminal(torsolog):
    answer = torsolog("analyse", DEMO_RECORDING)
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert max(len(line) for line in lines) <= 100
    rows = [line.split() for line in lines if line[:7].strip().isdigit()]
    assert [row[0] for row in rows] == ["1", "2", "3"]
    assert "separa-" in answer.out
    assert answer.err == ""


def test_a_wider_terminal_shows_more_columns(torsolog, monkeypatch):
    narrow = torsolog("analyse", DEMO_RECORDING).out
    monkeypatch.setenv("COLUMNS", "200")
    wide = torsolog("analyse", DEMO_RECORDING).out
    assert "joint" in wide
    assert "joint" not in narrow


def test_the_csv_has_every_column_of_the_data_dictionary(analysed):
    assert list(analysed[0]) == csv_header()
    assert [row["swing"] for row in analysed] == ["1", "2", "3"]
    for column in COLUMNS:
        if not column.text and not column.name.endswith(("_w", "_w_per_kg")):
            assert all(float(row[column.name]) == float(row[column.name]) for row in analysed)


def test_the_json_holds_the_numbers_of_the_csv(torsolog, tmp_path, analysed):
    file = tmp_path / "swings.json"
    assert torsolog("analyse", DEMO_RECORDING, "--json", file).code == 0
    document = json.loads(file.read_text(encoding="utf-8"))
    assert document["calibrated"] is True
    for swing, row in zip(document["swings"], analysed, strict=True):
        assert swing["number"] == int(row["swing"])
        for name, value in swing["metrics"].items():
            if isinstance(value, float):
                assert value == float(row[name]), name


def test_import_then_export_gives_the_numbers_of_analyse_to_the_last_bit(
    torsolog, tmp_path, analysed
):
    database = tmp_path / "torsolog.db"
    imported = torsolog("import", DEMO_RECORDING, "--database", database, "--golfer", "Player T.")
    assert imported.code == 0
    session = imported.out.strip()
    by_session = torsolog("export", "--session", session, "--database", database)
    by_golfer = torsolog("export", "--golfer", "Player T.", "--database", database)
    assert by_session.code == by_golfer.code == 0
    assert by_session.out == by_golfer.out
    rows = table(by_session.out)
    assert {row["session_id"] for row in rows} == {session}
    assert {row["golfer"] for row in rows} == {"Player T."}
    assert [{name: row[name] for name in csv_header()} for row in rows] == analysed


def test_what_was_imported_is_found_again_in_the_stored_samples(torsolog, tmp_path):
    database = tmp_path / "torsolog.db"
    session = torsolog("import", DEMO_RECORDING, "--database", database).out.strip()
    store = Store(sqlite_url(database))
    try:
        stored = [record.swing for record in store.swings.of_session(session)]
        assert [bare(swing) for swing in reanalyse(store, session)] == stored
        assert store.sessions.get(session).calibrated
    finally:
        store.close()


def state(recording, key, value):
    """Let both sensors' motion.json of a recording say something more."""
    for sidecar in recording.rglob("*_motion.json"):
        facts = json.loads(sidecar.read_text("utf-8"))
        sidecar.write_text(json.dumps(facts | {key: value}), "utf-8")


def exported(torsolog, session, database):
    """A stored session's rows, in the columns that `analyse` writes."""
    rows = table(torsolog("export", "--session", session, "--database", database).out)
    return [{name: row[name] for name in csv_header()} for row in rows]


def test_a_recording_that_states_means_is_read_half_a_sample_earlier(
    torsolog, tmp_path, demo_copy, analysed
):
    state(demo_copy, "GyroscopeSample", "mean")
    file, database = tmp_path / "swings.csv", tmp_path / "torsolog.db"
    assert torsolog("analyse", demo_copy, "--csv", file).code == 0
    told = table(file.read_text("utf-8"))
    for column in ("pelvis_peak_s", "upper_back_peak_s", "pelvis_reversal_s"):
        moved = [float(a[column]) - float(b[column]) for a, b in zip(told, analysed, strict=True)]
        assert moved == pytest.approx([-0.0025] * 3, abs=0.0004), column
    session = torsolog("import", demo_copy, "--database", database).out.strip()
    assert exported(torsolog, session, database) == told
    store = Store(sqlite_url(database))
    try:
        kept = [record.swing for record in store.swings.of_session(session)]
        assert [bare(swing) for swing in reanalyse(store, session)] == kept
    finally:
        store.close()


def test_a_recording_of_strapped_sensors_is_read_without_their_ride(
    torsolog, tmp_path, demo_copy, analysed
):
    state(demo_copy, "SensorFixing", "strapped")
    file, database = tmp_path / "swings.csv", tmp_path / "torsolog.db"
    assert torsolog("analyse", demo_copy, "--csv", file).code == 0
    told = table(file.read_text("utf-8"))
    for column in ("pelvis_peak_dps", "upper_back_peak_dps"):
        for one, other in zip(told, analysed, strict=True):
            assert 0.95 * float(other[column]) < float(one[column]) < 0.998 * float(other[column])
            assert float(one[f"{column}_u"]) < float(other[f"{column}_u"])
    session = torsolog("import", demo_copy, "--database", database).out.strip()
    assert exported(torsolog, session, database) == told
    option = ("--fixing", "strapped", "--csv", tmp_path / "option.csv")
    assert torsolog("analyse", DEMO_RECORDING, *option).code == 0
    assert table((tmp_path / "option.csv").read_text("utf-8")) == told
    undone = torsolog("import", demo_copy, "--fixing", "unknown", "--database", database)
    assert exported(torsolog, undone.out.strip(), database) == analysed


def test_a_golfer_is_taken_by_name_and_not_made_twice(torsolog, tmp_path):
    database = tmp_path / "torsolog.db"
    for _ in range(2):
        torsolog("import", DEMO_RECORDING, "--database", database, "--golfer", "Player T.")
    store = Store(sqlite_url(database))
    try:
        assert [golfer.name for golfer in store.golfers.all()] == ["Player T."]
        assert len(store.sessions.all()) == 2
    finally:
        store.close()


def test_a_recording_of_the_other_hand_is_not_put_to_a_golfer(torsolog, tmp_path):
    database = tmp_path / "torsolog.db"
    torsolog("import", DEMO_RECORDING, "--database", database, "--golfer", "Player T.")
    answer = torsolog(
        "import", DEMO_RECORDING, "--database", database, "--golfer", "Player T.",
        "--handedness", "left",
    )  # fmt: skip
    assert answer.code == 1
    assert "right-handed" in answer.err


def test_export_lists_sessions_and_writes_a_file(torsolog, tmp_path):
    database, file = tmp_path / "torsolog.db", tmp_path / "swings.csv"
    imported = torsolog("import", DEMO_RECORDING, "--database", database, "--title", "Evening")
    session = imported.out.strip()
    listed = torsolog("export", "--database", database)
    assert session in listed.out
    assert "Evening" in listed.out
    written = torsolog("export", "--session", session, "--csv", file, "--database", database)
    assert written.code == 0
    assert len(table(file.read_bytes().decode("utf-8"))) == 3


def test_a_recording_without_stand_and_bow_is_marked_uncalibrated(torsolog, demo_copy, tmp_path):
    for events in demo_copy.rglob("*_events.tsv"):
        events.unlink()
    file = tmp_path / "swings.csv"
    answer = torsolog("analyse", demo_copy, "--csv", file)
    assert answer.code == 0
    assert all("uncalibrated" in row["quality"] for row in table(file.read_text("utf-8")))
