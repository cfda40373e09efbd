"""`torsolog serve` as its own process: it answers, it says where, it ends when asked."""

import json
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from contextlib import contextmanager

import httpx
import pytest


@contextmanager
def serving(tmp_path, *more):
    """The command with its own database, until the block ends; yields the process."""
    command = [sys.executable, "-m", "server.cli", "serve", "--no-browser", *more]
    database = ["--database", str(tmp_path / "torsolog.db")]
    with subprocess.Popen(
        [*command, *database], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def address_of(process):
    said = process.stderr.readline()
    found = re.search(r"http://\S+", said)
    assert found, said + process.stderr.read()
    return found.group()


@pytest.mark.parametrize("wanted", [signal.SIGINT, signal.SIGTERM])
def test_it_answers_until_it_is_asked_to_end(tmp_path, wanted):
    with serving(tmp_path, "--port", "0") as process:
        with urllib.request.urlopen(address_of(process) + "api/health", timeout=20) as answer:
            assert json.load(answer)["status"] == "ok"
        process.send_signal(wanted)
        assert process.wait(20) == 0
        assert process.stderr.read() == ""


UPGRADE = (
    "GET /api/live HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
    "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dG9yc29sb2cgbGlzdGVucw==\r\n\r\n"
)


def test_asked_twice_while_a_page_does_not_let_go_it_ends_without_a_trace(tmp_path):
    with serving(tmp_path, "--port", "0") as process:
        port = httpx.URL(address_of(process)).port
        with socket.create_connection(("127.0.0.1", port), timeout=20) as page:
            page.sendall(UPGRADE.format(port).encode())
            assert page.recv(12) == b"HTTP/1.1 101"
            process.send_signal(signal.SIGINT)
            while page.recv(4096)[:1] != b"\x88":  # the close that this page does not answer
                pass
            process.send_signal(signal.SIGINT)
            assert process.wait(20) == 130
        assert process.stderr.read() == ""


def test_a_port_that_is_taken_is_told_in_one_sentence(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with serving(tmp_path, "--port", str(port)) as process:
            assert process.wait(20) == 1
            (line,) = process.stderr.read().splitlines()
    assert f"port {port}" in line
    assert "--port" in line


def test_on_the_network_it_asks_for_a_token_by_itself(tmp_path):
    with serving(tmp_path, "--host", "0.0.0.0", "--port", "0") as process:
        page = address_of(process)
        assert re.search(r"\?token=[\w-]{20,}", page)
        with httpx.Client(base_url=page.split("?")[0], timeout=20) as browser:
            assert browser.get("api/golfers").status_code == 401
            assert browser.get(page, follow_redirects=True).status_code == 200
            assert browser.get("api/golfers").json() == []
