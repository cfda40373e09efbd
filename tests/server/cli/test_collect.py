"""From a source over the wire into the store and out as CSV: the whole path, on real parts."""

import csv
import io
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from contextlib import contextmanager

import httpx
import pytest
import uvicorn

from analysis.samples import Segment
from recordings import DEMO_RECORDING
from server.app import build_app
from server.listening import address_of, bind
from server.reanalyse import reanalyse
from server.settings import Settings, sqlite_url
from server.store import Store
from server.swing_csv import csv_header
from tests.support.bare_swing import bare


@contextmanager
def serving(database, token=None):
    """A service on a free port, in a thread of its own; yields its address."""
    settings = Settings(sqlite_url(database), "127.0.0.1", 0, token)
    with bind(settings.host, 0) as listener:
        config = uvicorn.Config(build_app(settings), log_level="warning", lifespan="on")
        listener.listen()
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, args=([listener],))
        thread.start()
        try:
            yield address_of(listener, settings.host).rstrip("/")
        finally:
            server.should_exit = True
            thread.join(20)
            assert not thread.is_alive()


@pytest.fixture
def database(tmp_path):
    return tmp_path / "torsolog.db"


def table(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_simulated_session_arrives_and_every_way_out_gives_the_same_numbers(torsolog, database):
    with serving(database) as address:
        sent = torsolog(
            "collect", "--service", address, "--speed", 0, "--swings", 4, "--title", "Fast"
        )
        assert sent.code == 0, sent.err
        session = sent.out.strip()
        api = httpx.get(f"{address}/api/sessions/{session}/swings").json()
        served = httpx.get(f"{address}/api/sessions/{session}/swings.csv").text
        summary = httpx.get(f"{address}/api/sessions/{session}").json()
    assert summary["open"] is False
    assert summary["calibrated"] is True
    assert summary["title"] == "Fast"
    assert len(api) == 4

    exported = torsolog("export", "--session", session, "--database", database).out
    assert table(exported) == table(served)
    for swing, row in zip(api, table(exported), strict=True):
        for name, value in swing["metrics"].items():
            said = float(row[name]) if isinstance(value, int | float) else row[name] or None
            assert said == value, name

    store = Store(sqlite_url(database))
    try:
        stored = [record.swing for record in store.swings.of_session(session)]
        assert [bare(swing) for swing in reanalyse(store, session)] == stored
    finally:
        store.close()


def test_a_replayed_recording_gives_the_numbers_of_analyse_to_the_last_bit(
    torsolog, database, tmp_path
):
    file = tmp_path / "analysed.csv"
    torsolog("analyse", DEMO_RECORDING, "--csv", file)
    with serving(database) as address:
        with urllib.request.urlopen(f"{address}/api/health") as answer:
            assert answer.status == 200
        httpx.post(
            f"{address}/api/golfers",
            json={
                "name": "Player T.",
                "handedness": "right",
                "height_m": 1.78,
                "mass_kg": 78.0,
                "sex": "male",
            },
        ).raise_for_status()
        sent = torsolog(
            "collect", "--source", "replay", "--recording", DEMO_RECORDING,
            "--speed", 0, "--service", address, "--golfer", "Player T.",
        )  # fmt: skip
        assert sent.code == 0, sent.err
    exported = torsolog("export", "--session", sent.out.strip(), "--database", database).out
    rows = [{name: row[name] for name in csv_header()} for row in table(exported)]
    assert rows == table(file.read_bytes().decode("utf-8"))


def test_a_service_that_wants_its_token_gets_it_from_the_printed_address(torsolog, database):
    token = "0123456789abcdef0123"
    with serving(database, token) as address:
        refused = torsolog("collect", "--service", address, "--speed", 0, "--swings", 1)
        assert refused.code == 1
        assert "token" in refused.err
        sent = torsolog(
            "collect", "--service", f"{address}/?token={token}", "--speed", 0, "--swings", 1
        )
        assert sent.code == 0, sent.err


def test_where_no_service_answers_it_says_so_at_once(torsolog):
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        port = unused.getsockname()[1]
        answer = torsolog("collect", "--service", f"http://127.0.0.1:{port}")
    assert answer.code == 1
    assert "torsolog serve" in answer.err


@pytest.mark.parametrize("address", ["ftp://here", "http://", "http://here:port", "::"])
def test_an_address_that_is_none_is_refused(torsolog, address):
    answer = torsolog("collect", "--service", address)
    assert answer.code == 1
    assert "--service" in answer.err


def test_a_golfer_whom_the_service_does_not_know_is_refused(torsolog, database):
    with serving(database) as address:
        answer = torsolog("collect", "--service", address, "--golfer", "Nobody")
        assert httpx.get(f"{address}/api/sessions").json() == []
    assert answer.code == 1
    assert "Nobody" in answer.err


def files(folder):
    """Every file below a folder."""
    return [path for path in folder.rglob("*") if path.is_file()]


def test_what_a_broken_off_run_left_on_disk_is_sent_by_the_next(torsolog, database, tmp_path):
    spool = tmp_path / "unsent"
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        nowhere = f"http://127.0.0.1:{unused.getsockname()[1]}"
        command = [sys.executable, "-m", "server.cli", "collect", "--service", nowhere]
        options = ["--spool", str(spool), "--swings", "1", "--speed", "0"]
        with subprocess.Popen(
            [*command, *options], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
        ) as process:
            assert "kept and sent later" in process.stderr.readline()
            while (
                process.poll() is None and sum(path.stat().st_size for path in files(spool)) < 1e5
            ):
                time.sleep(0.02)  # the run itself, in another process
            process.kill()
    assert files(spool)
    with serving(database) as address:
        sent = torsolog(
            "collect", "--service", address, "--spool", spool, "--swings", 1, "--speed", 0
        )
        assert sent.code == 0, sent.err
        assert "an earlier run left" in sent.err
        sessions = httpx.get(f"{address}/api/sessions").json()
    assert len(sessions) == 2
    store = Store(sqlite_url(database))
    try:
        for session in sessions:
            assert not session["open"]
            assert len(store.raw.samples(session["id"], Segment.PELVIS)) > 1000
    finally:
        store.close()
    assert files(spool) == []
