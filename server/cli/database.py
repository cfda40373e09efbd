"""The option that says where everything is stored, and what it stands for."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from server.cli.console import fail
from server.settings import default_database_url, sqlite_url
from server.store import Store

Database = Annotated[
    str | None,
    typer.Option(
        "--database",
        metavar="FILE or URL",
        help="Where everything is stored: a SQLite file, or a postgresql:// address. "
        "Without it: torsolog.db in your user data folder.",
        envvar="TORSOLOG_DATABASE_URL",
        show_envvar=False,
    ),
]


def database_url(given: str | None) -> str:
    """URL of the database: as given, of the file given, or the default one."""
    if not given:
        return default_database_url()
    return given if "://" in given else sqlite_url(Path(given))


def open_store(given: str | None) -> Store:
    """The store that is there already. Raises StoreError; a missing file is not made."""
    url = database_url(given)
    path = Path(url.removeprefix("sqlite:///"))
    if url.startswith("sqlite:///") and not path.is_file():
        fail(f"{path}: there is no database yet; `torsolog serve` or `torsolog import` makes one")
    return Store(url)
