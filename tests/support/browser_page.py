"""A real Chromium and pages in it that note whatever a page must not do."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    expect,
    sync_playwright,
)

WITHIN_MS = 20_000
NAMES = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
)
NOTE_VIOLATIONS = """
addEventListener("securitypolicyviolation", (event) => {
  console.error(`content security policy: ${event.violatedDirective} ${event.blockedURI}`);
});
"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """The machine's Chromium, headless; skips where there is none."""
    executable = next((path for name in NAMES if (path := shutil.which(name))), None)
    if executable is None:
        pytest.skip(f"no browser: none of {', '.join(NAMES)} is installed")
    expect.set_options(timeout=WITHIN_MS)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=executable, args=list(ARGUMENTS))
        yield browser
        browser.close()


@dataclass
class Misdeeds:
    """What a page did that it must not: errors, and requests to anywhere but its own service."""

    host: str
    errors: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)
    requests: int = 0

    def watch(self, page: Page) -> None:
        page.add_init_script(NOTE_VIOLATIONS)
        page.on("console", self._said)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("request", self._requested)
        page.on("websocket", lambda socket: self._address(socket.url))

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.errors.append(f"{message.type}: {message.text}")

    def _requested(self, request: Request) -> None:
        self._address(request.url)

    def _address(self, url: str) -> None:
        self.requests += 1
        parts = urlsplit(url)
        if parts.scheme not in ("data", "blob") and parts.netloc != self.host:
            self.strangers.append(url)


@contextmanager
def fresh_context(browser: Browser, address: str, **options: Any) -> Iterator[BrowserContext]:
    """A context of its own (storage, cache) whose base is the service's address."""
    context = browser.new_context(base_url=address, **options)
    context.set_default_timeout(WITHIN_MS)
    yield context
    context.close()


@contextmanager
def watched_page(context: BrowserContext, address: str) -> Iterator[tuple[Page, Misdeeds]]:
    """A page of the context, and what it does that it must not. Clears its storage at the end."""
    page = context.new_page()
    misdeeds = Misdeeds(urlsplit(address).netloc)
    misdeeds.watch(page)
    yield page, misdeeds
    page.evaluate("localStorage.clear()")
    page.close()
