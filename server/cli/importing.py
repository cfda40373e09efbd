"""`torsolog import`: a recording into the database, raw samples too."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Annotated

import typer

from analysis.results import GolferFacts, Handedness
from sensors.recording import Recording as RecordedMotion
from sensors.recording import read_recording
from server.cli.console import fail, out, progress, say
from server.cli.database import Database, database_url
from server.cli.options import Handed, Held, Name, Recording
from server.models import Golfer
from server.recording_analysis import RecordingAnalysis, analyse_recording, golfer_facts, held_by
from server.recording_session import whole_session
from server.store import NewGolfer, NewSession, Store

SHARES = (0.5, 0.8)
"""Of the progress bar: where reading ends and where the analysis ends."""


GolferName = Annotated[
    str | None,
    typer.Option(
        "--golfer",
        help="Id or name of the golfer; a new name makes a new golfer. Without it: a new golfer "
        "named by the participant's label in the recording.",
        show_default=False,
    ),
]
Title = Annotated[
    str | None,
    typer.Option("--title", help="Title of the session; without it, the recording's name."),
]
StartedAt = Annotated[
    datetime | None,
    typer.Option(
        "--started-at",
        formats=["%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d"],
        help="When the recording began, local time; without it, as if it ended now.",
    ),
]


def import_recording(
    recording: Recording,
    *,
    golfer: GolferName = None,
    title: Title = None,
    started_at: StartedAt = None,
    handedness: Handed = None,
    fixing: Held = None,
    name: Name = None,
    database: Database = None,
) -> None:
    """Put a recording into the database, so that it can be reviewed on the pages.

    Reads a Motion-BIDS folder with both sensors, analyses it as `torsolog analyse` does, and keeps
    its raw samples, marks and swings; all of it or, where something is wrong, nothing.
    """
    with progress("reading", total=1.0) as bar:
        task = bar.task_ids[0]

        def on_read(fraction: float) -> None:
            bar.update(task, completed=fraction * SHARES[0])

        motion = held_by(read_recording(recording, name=name, progress=on_read), fixing)
        store = Store(database_url(database))
        try:
            known = _known_golfer(store, golfer)
            facts = _facts(store, motion, known, handedness)
            bar.update(task, description="analysing", completed=SHARES[0])
            found = analyse_recording(motion, facts)
            bar.update(task, description="storing", completed=SHARES[1])
            new = NewSession(title or motion.name, _began(motion, started_at))
            session_id = _keep(store, found, new, known or _new_golfer(found, golfer))
        finally:
            store.close()
    for note in found.notes:
        say(f"note: {note}")
    say(f"{len(found.swings)} swings stored as session:")
    out.print(session_id, markup=False)


def _known_golfer(store: Store, wanted: str | None) -> Golfer | None:
    found = [g for g in store.golfers.all() if wanted in (g.id, g.name)]
    if len(found) > 1:
        fail(f"{len(found)} golfers are called {wanted!r}; give the id of one")
    return found[0] if found else None


def _facts(
    store: Store, motion: RecordedMotion, known: Golfer | None, handedness: Handedness | None
) -> GolferFacts | None:
    """None: as the recording says. Handedness must not contradict a golfer's own."""
    stated = handedness or motion.wearer.handedness
    if known is not None:
        if stated is not None and known.handedness != stated:
            fail(f"{known.name} is stored as {known.handedness}-handed, the recording is {stated}")
        return store.golfers.facts(known.id)
    if handedness is None:
        return None
    return replace(golfer_facts(motion.wearer), handedness=handedness)


def _began(motion: RecordedMotion, started_at: datetime | None) -> datetime:
    """Wall time of session time 0."""
    if started_at is not None:
        return started_at.astimezone() - timedelta(seconds=motion.start_s)
    return datetime.now(UTC) - timedelta(seconds=motion.end_s)


def _new_golfer(found: RecordingAnalysis, name: str | None) -> NewGolfer:
    facts = found.golfer
    return NewGolfer(
        name=name or f"Participant {found.recording.wearer.label}",
        handedness=facts.handedness,
        height_m=facts.height_m,
        mass_kg=facts.mass_kg,
        sex=facts.sex,
    )


def _keep(
    store: Store, found: RecordingAnalysis, new: NewSession, golfer: Golfer | NewGolfer
) -> str:
    """Store everything in one step; gives the id of the session."""
    if isinstance(golfer, Golfer):
        whole = whole_session(found, replace(new, golfer_id=golfer.id))
    else:
        whole = replace(whole_session(found, new), new_golfer=golfer)
    return store.whole_sessions.add(whole).id
