"""The command line explains itself, and the front page names every command."""

import os
import re
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest
import typer

from recordings import DEMO_RECORDING
from server.cli.app import command_line

README = Path(__file__).parents[3] / "README.md"
KNOWN = typer.main.get_command(command_line()).commands
COMMANDS = sorted(KNOWN)


def test_the_commands_are_those_that_must_exist():
    assert {"analyse", "collect", "demo", "export", "import", "serve"} <= set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_every_option_says_what_it_is_for(torsolog, name):
    answer = torsolog(name, "--help")
    assert answer.code == 0
    assert answer.err == ""
    command = KNOWN[name]
    assert len(command.help.splitlines()[0].split()) >= 6
    for option in command.params:
        assert option.help, f"{name} {option.name}"


@pytest.mark.parametrize("name", COMMANDS)
def test_the_front_page_names_every_command(name):
    assert re.search(rf"^\| `torsolog {name}[ `]", README.read_text("utf-8"), re.MULTILINE)


def test_every_option_that_the_front_page_names_exists():
    rows = re.findall(r"^\| `torsolog (\w+)[^|]*\|(.*)\|$", README.read_text("utf-8"), re.MULTILINE)
    named = [(name, option) for name, row in rows for option in re.findall(r"`?(--[\w-]+)", row)]
    assert named
    for name, option in named:
        known = {o for p in KNOWN[name].params for o in p.opts}
        assert option in known, f"{name} {option}"


def test_a_collector_needs_neither_the_service_nor_the_database():
    loaded = "import sys, server.cli; server.cli.app.command_line('collect'); print(*sys.modules)"
    said = subprocess.run([sys.executable, "-c", loaded], stdout=subprocess.PIPE, check=True).stdout
    modules = set(said.decode().split())
    assert {"bleak", "sensors.collector", "server.cli.collect"} <= modules
    assert not {"fastapi", "sqlalchemy", "uvicorn", "scipy.signal"} & modules


def test_it_says_its_version_and_that_it_is_no_medical_device(torsolog):
    assert torsolog("--version").out.strip() == f"torsolog {version('torsolog')}"
    words = " ".join(torsolog("--help").out.split())
    assert "stop at pain" in words
    assert "Not a medical device" in words


def test_on_a_terminal_a_bar_shows_how_far_it_is():
    """Results go to standard output, the bar to the terminal on standard error."""
    pty = pytest.importorskip("pty", reason="needs a terminal of this system's kind")
    ours, theirs = pty.openpty()
    ended = subprocess.run(
        [sys.executable, "-m", "server.cli", "analyse", str(DEMO_RECORDING)],
        stdout=subprocess.PIPE,
        stderr=theirs,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "100"},
        check=True,
    )
    os.close(theirs)
    shown = os.read(ours, 100_000).decode()
    os.close(ours)
    assert "reading" in shown
    assert "%" in shown
    assert b"%" not in ended.stdout.split(b"\n")[0]
