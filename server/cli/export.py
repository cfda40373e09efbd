"""`torsolog export`: stored swings as CSV."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from server.cli.analyse import refuse_to_overwrite, write
from server.cli.console import fail, say
from server.cli.database import Database, open_store
from server.cli.options import Force
from server.store import Store, SwingRecord
from server.stored_csv import stored_csv_lines


def export(
    *,
    session: Annotated[
        str | None, typer.Option(help="Id of a session: all its swings.", show_default=False)
    ] = None,
    golfer: Annotated[
        str | None,
        typer.Option(
            help="Id or name of a golfer: the swings of all sessions.", show_default=False
        ),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(help="Write to this file instead of printing.", show_default=False),
    ] = None,
    force: Force = False,
    database: Database = None,
) -> None:
    """Write the stored swings of a session or of a golfer as CSV, one row a swing.

    Without --session and --golfer it lists the sessions there are.
    """
    if session is not None and golfer is not None:
        fail("give --session or --golfer, not both")
    refuse_to_overwrite([csv] if csv else [], force=force)
    store = open_store(database)
    try:
        if session is None and golfer is None:
            _list_sessions(store)
            return
        records = _of_session(store, session) if session else _of_golfer(store, golfer or "")
        text = "".join(stored_csv_lines(records))
    finally:
        store.close()
    if csv is None:
        sys.stdout.write(text)
    else:
        write(csv, text, force=force)


def _of_session(store: Store, session: str) -> list[SwingRecord]:
    return store.swings.of_session(store.sessions.get(session).id)


def _of_golfer(store: Store, wanted: str) -> list[SwingRecord]:
    golfers = store.golfers.all()
    found = [g for g in golfers if wanted in (g.id, g.name)]
    if not found:
        names = ", ".join(g.name for g in golfers) or "none yet"
        fail(f"no golfer is called {wanted!r}; there is: {names}")
    if len(found) > 1:
        ids = ", ".join(g.id for g in found)
        fail(f"{len(found)} golfers are called {wanted!r}; give the id of one: {ids}")
    return store.swings.of_golfer(found[0].id)


def _list_sessions(store: Store) -> None:
    sessions = store.sessions.all()
    if not sessions:
        say("no session is stored yet")
        return
    for entry in sessions:
        when = f"{entry.started_at:%Y-%m-%d %H:%M}"
        who = entry.golfer_name or "no golfer"
        sys.stdout.write(
            f"{entry.id}  {when}  {entry.swing_count:4d} swings  {who}: {entry.title}\n"
        )
    say("name one with --session ID to have its swings")
