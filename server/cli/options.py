"""Options that several commands share, and what they stand for."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.results import Fixing, Handedness
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
Port = Annotated[
    int, typer.Option("--port", min=0, max=65535, help="Port of the page; 0 takes any free one.")
]
NoBrowser = Annotated[
    bool, typer.Option("--no-browser", help="Only print the page's address, do not open it.")
]
Recording = Annotated[
    Path,
    typer.Argument(
        metavar="RECORDING",
        help="A Motion-BIDS folder (or one motion.tsv in it) with both sensors.",
        show_default=False,
    ),
]
Name = Annotated[
    str | None,
    typer.Option(
        "--name",
        help="Which recording, where the folder holds several, such as sub-01_ses-01_task-swing.",
    ),
]
Handed = Annotated[
    Handedness | None,
    typer.Option(
        "--handedness", help="How the golfer stands, where participants.tsv does not say it."
    ),
]
Held = Annotated[
    Fixing | None,
    typer.Option(
        "--fixing",
        help="What held both sensors, where the recording does not say it: strapped (a strap or "
        "belt over skin and cloth: their usual ride is undone), rigid (as on a plate) or unknown.",
    ),
]
Force = Annotated[bool, typer.Option("--force", help="Replace a file that is there already.")]


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
