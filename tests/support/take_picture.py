"""Makes the README's picture: the Range page of the demo, in a real browser, after three swings.

Run as: python -m tests.support.take_picture web/pictures/range.png
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.support.browser_page import chromium, fresh_context, watched_page
from tests.support.prove_demo import DemoProcess, first_live_swing

SWINGS = 3
SIZE = {"width": 1280, "height": 1020}


def take(target: Path) -> None:
    """Start the demo at four times its speed, wait for the swings, take the picture."""
    with tempfile.TemporaryDirectory() as folder:
        demo = DemoProcess([sys.executable, "-m", "server.cli"], Path(folder), "--speed", "4")
        try:
            first_live_swing(demo, SWINGS)
            with (
                chromium() as browser,
                fresh_context(browser, demo.address, viewport=SIZE) as context,
                watched_page(context, demo.address) as (page, misdeeds),
            ):
                page.goto("/")
                page.wait_for_timeout(4000)  # a stretch of live trace to look at
                page.screenshot(path=target)
                assert not misdeeds.errors, misdeeds.errors
                assert not misdeeds.strangers, misdeeds.strangers
        finally:
            demo.end()


if __name__ == "__main__":
    take(Path(sys.argv[1]))
