"""Starts `torsolog demo --no-browser`, sees it answer and a swing arrive, ends it; fails otherwise.

Needs nothing but the standard library: python prove_demo.py PATH_OF_TORSOLOG
"""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

UP_WITHIN_S = 120.0
SWING_WITHIN_S = 120.0
END_WITHIN_S = 20.0


class DemoProcess:
    """The demo as its own process; `address` once it is up."""

    def __init__(self, command: list[str], folder: Path, *more: str) -> None:
        self.said = folder / "demo.log"
        self._file = self.said.open("w", encoding="utf-8")
        everything = [*command, "demo", "--no-browser", "--port", "0", *more]
        self.process = subprocess.Popen(
            everything, stdout=self._file, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL
        )
        self.address = self._wait_for_address()

    def _wait_for_address(self) -> str:
        until = time.monotonic() + UP_WITHIN_S
        while time.monotonic() < until:
            found = re.search(r"http://[\w.:\[\]]+/", self.said.read_text(encoding="utf-8"))
            if found:
                return found.group()
            if self.process.poll() is not None:
                break
            time.sleep(0.1)
        self.end()
        raise AssertionError(f"the demo did not come up; it said:\n{self.said.read_text()}")

    def get(self, path: str) -> str:
        """Body of a page or of an answer of the API."""
        with urllib.request.urlopen(self.address + path, timeout=20) as answer:
            return str(answer.read().decode("utf-8"))

    def ask(self, path: str) -> Any:
        """Answer of the API."""
        return json.loads(self.get(path))

    def end(self) -> int:
        """Ask the demo to end, as closing the terminal would; gives its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        try:
            return self.process.wait(END_WITHIN_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            raise
        finally:
            self._file.close()


def first_live_swing(demo: DemoProcess, swings: int = 1) -> dict[str, Any]:
    """The first swing of the live session, once it has so many."""
    until = time.monotonic() + SWING_WITHIN_S
    while time.monotonic() < until:
        try:
            session = demo.ask("api/sessions/current")
        except urllib.error.HTTPError as error:
            if error.code != 404:
                raise
            session = None
        if session and session["swing_count"] >= swings:
            return dict(demo.ask(f"api/sessions/{session['id']}/swings")[0])
        time.sleep(0.5)
    raise AssertionError(
        f"no swing within {SWING_WITHIN_S} s; the demo said:\n{demo.said.read_text()}"
    )


def check(demo: DemoProcess) -> str:
    """What the README promises of the demo; a line that says what was seen."""
    assert demo.ask("api/health")["status"] == "ok"
    for page in ("", "swings", "static/plotly.min.js"):
        assert demo.get(page), page
    golfers = demo.ask("api/golfers")
    assert len(golfers) == 2
    assert all(golfer["invented"] for golfer in golfers)
    earlier = [session for session in demo.ask("api/sessions") if not session["open"]]
    assert len(earlier) == 6, earlier
    assert all(session["calibrated"] and session["swing_count"] >= 10 for session in earlier)
    one = demo.ask(f"api/sessions/{earlier[-1]['id']}/swings")[0]
    curves = demo.ask(f"api/swings/{one['id']}/curves")
    assert len(curves["time_s"]) > 100
    live = first_live_swing(demo)
    peak = live["metrics"]["upper_back_peak_dps"]
    return f"6 earlier sessions, 2 golfers; first live swing peaked at {peak:.0f} deg/s"


if __name__ == "__main__":
    started = time.monotonic()
    demo = DemoProcess(sys.argv[1:], Path.cwd())
    up_s = time.monotonic() - started
    try:
        seen = check(demo)
    finally:
        code = demo.end()
    assert code == 0, f"exit code {code}: {demo.said.read_text()}"
    print(f"demo up after {up_s:.1f} s at {demo.address}: {seen}")
