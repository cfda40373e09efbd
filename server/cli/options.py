"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.results import Fixing, Handedness

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
