"""The address of a service as a person gives it, and the few things a collector asks there."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

from sensors.service_link import ServiceAddress
from server.cli.console import fail

ANSWER_WITHIN_S = 10.0


@dataclass(frozen=True, slots=True)
class ServiceUrl:
    """A service: http or https, host and port, and its token where it has one."""

    root: str
    token: str | None = None

    @classmethod
    def parse(cls, text: str, token: str | None) -> ServiceUrl:
        """From the address that `torsolog serve` prints, with or without its token."""
        parts = urlsplit(text if "://" in text else f"http://{text}")
        try:
            port = parts.port
        except ValueError:
            port = 0
        if parts.scheme not in {"http", "https"} or not parts.hostname or port == 0:
            fail(f"--service {text}: expected an address such as http://127.0.0.1:8765")
        given = parse_qs(parts.query).get("token", [None])[0]
        return cls(f"{parts.scheme}://{parts.netloc}", token or given)

    def for_collector(self) -> ServiceAddress:
        """The same service, for the samples."""
        return ServiceAddress(f"{self.root.replace('http', 'ws', 1)}/api/ingest", self.token)

    def ask(self, path: str) -> Any:  # noqa: ANN401 - JSON
        """Answer of the API. Ends the command where there is none."""
        request = urllib.request.Request(f"{self.root}{path}")
        if self.token:
            request.add_header("Authorization", f"Bearer {self.token}")
        try:
            with urllib.request.urlopen(request, timeout=ANSWER_WITHIN_S) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            if error.code == 401:
                fail(f"{self.root} asks for its token; give the whole address it printed")
            fail(f"{self.root} answers {error.code} {error.reason}; is it a torsolog service?")
        except (OSError, ValueError):
            fail(f"no service answers at {self.root}; start one with `torsolog serve`")

    def session_time_s(self, session: str) -> float:
        """Session time now of an open session, s, by this machine's clock."""
        began = datetime.fromisoformat(self.ask(f"/api/sessions/{quote(session)}")["started_at"])
        return max(0.0, (datetime.now(UTC) - began).total_seconds())

    def golfer_id(self, wanted: str) -> str:
        """Id of the golfer with this id or name."""
        golfers = self.ask("/api/golfers")
        found = [golfer["id"] for golfer in golfers if wanted in (golfer["id"], golfer["name"])]
        if len(found) != 1:
            names = ", ".join(golfer["name"] for golfer in golfers) or "none yet"
            count = "no golfer is" if not found else f"{len(found)} golfers are"
            fail(f"{count} called {wanted!r} at {self.root}; there is: {names}")
        return str(found[0])
