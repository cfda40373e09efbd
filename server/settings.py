"""What the service is told at its start. Nothing is read at import time."""

from __future__ import annotations

import secrets
import socket
from dataclasses import dataclass, field
from hashlib import sha256
from ipaddress import ip_address
from pathlib import Path

from platformdirs import user_data_path
from sqlalchemy.engine import make_url

from sensors.service_link import DEFAULT_PORT
from server.errors import SettingsError

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach a socket bound to `host` (a name or an address)."""
    if host in LOOPBACK_NAMES:
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def new_token() -> str:
    """A fresh access token for a service that other machines can reach."""
    return secrets.token_urlsafe(24)


def default_database_url() -> str:
    """SQLite file in the user's data folder."""
    return sqlite_url(user_data_path("torsolog", appauthor=False) / "torsolog.db")


def sqlite_url(path: Path) -> str:
    """URL of the SQLite file at `path`."""
    return f"sqlite:///{path.absolute().as_posix()}"


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of one service.

    database_url: SQLite or PostgreSQL. host, port: where it listens (port 0: any free one).
    token: access token; needed when `host` is not loopback. allowed_hosts: further names and
    addresses that browsers may use for this machine. radio: whether pages may use this machine's
    Bluetooth; it is not touched before they do.

    Raises SettingsError: a port out of range, no or too short a token on a network address.
    """

    database_url: str = field(default_factory=default_database_url)
    host: str = "127.0.0.1"
    port: int = DEFAULT_PORT
    token: str | None = None
    allowed_hosts: tuple[str, ...] = ()
    radio: bool = True

    def __post_init__(self) -> None:
        if not 0 <= self.port <= 65535:
            raise SettingsError(f"port: expected 0 to 65535, received {self.port}")
        if self.token is not None and len(self.token) < 16:
            raise SettingsError("token: expected at least 16 characters")
        if self.token is None and not is_loopback(self.host):
            raise SettingsError(
                f"token: needed when the service listens on {self.host}, because others on the "
                "network can reach it; give one, or listen on 127.0.0.1"
            )

    def unsent_folder(self) -> Path:
        """Where samples wait that this database has not stored yet; of this database alone.

        Beside a SQLite file; for PostgreSQL in the user's data folder.
        """
        url = make_url(self.database_url)
        if url.get_backend_name() == "sqlite":
            return Path(f"{url.database}-unsent")
        name = sha256(url.render_as_string(hide_password=True).encode()).hexdigest()[:12]
        return user_data_path("torsolog", appauthor=False) / f"unsent-{name}"

    def host_names(self) -> frozenset[str]:
        """Every name or address a request may name as its host, lower case, without port."""
        names = {*LOOPBACK_NAMES, *self.allowed_hosts}
        if not is_loopback(self.host):
            names.add(self.host)
            names.update(_own_names())
        return frozenset(name.lower().strip("[]") for name in names)


def _own_names() -> set[str]:
    """This machine's host name and the addresses it resolves to."""
    name = socket.gethostname()
    names = {name, f"{name}.local"}
    try:
        names.update(str(entry[4][0]) for entry in socket.getaddrinfo(name, None))
    except OSError:
        return names
    return names
