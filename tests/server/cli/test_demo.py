"""`torsolog demo` as a newcomer starts it: own process, real port, nothing left behind."""

import sys

import pytest

from server.demo.scenario import GOLFERS, LIVE, SESSIONS, WEEKS
from server.settings import sqlite_url
from server.store import Store
from tests.support.prove_demo import DemoProcess, check, first_live_swing

COMMAND = [sys.executable, "-m", "server.cli"]
FAST = ("--speed", "20")


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """Where the demo puts its temporary folder."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setenv("TMPDIR", str(folder))
    return folder


def test_the_demo_shows_what_the_front_page_promises_and_leaves_nothing(tmp_path, temporary):
    demo = DemoProcess(COMMAND, tmp_path, *FAST)
    try:
        assert "6 earlier sessions" in check(demo)
        assert any(temporary.iterdir())
    finally:
        code = demo.end()
    assert code == 0
    assert not any(temporary.iterdir())
    assert "Traceback" not in demo.said.read_text()


def test_a_kept_demo_goes_on_where_it_was(tmp_path):
    keep = tmp_path / "club"
    for swings in (1, 0):
        demo = DemoProcess(COMMAND, tmp_path, "--keep", str(keep), *FAST)
        try:
            if swings:
                first_live_swing(demo)
        finally:
            assert demo.end() == 0
    store = Store(sqlite_url(keep / "demo.db"))
    try:
        sessions = store.sessions.all()
        assert len(sessions) == len(SESSIONS) + 2
        assert all(session.invented and not session.open for session in sessions)
        assert [s.title for s in sessions[:2]] == [LIVE.title] * 2
        assert all(session.swing_count for session in sessions[1:])
        assert len(store.golfers.all()) == len(GOLFERS)
    finally:
        store.close()


def test_the_club_has_two_golfers_and_six_sessions_over_eight_weeks():
    assert len(GOLFERS) == 2
    assert {session.golfer.name for session in SESSIONS} == {golfer.name for golfer in GOLFERS}
    assert len(SESSIONS) == 6
    assert max(session.days_ago for session in SESSIONS) == WEEKS * 7
    assert {golfer.golfer.handedness for golfer in GOLFERS} == {"right", "left"}
