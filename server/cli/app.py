"""The `torsolog` command and what happens when it is given something it cannot use."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Sequence
from importlib.metadata import version
from typing import Annotated

import typer

from analysis.errors import AnalysisError
from sensors.errors import SensorError
from sensors.wire import WireError
from server.cli.console import CommandError, err, out
from server.cli.loading import loaded
from server.errors import ServiceError

EXPECTED = (AnalysisError, SensorError, WireError, ServiceError, CommandError)
"""Errors whose text is meant for the person at the terminal."""

COMMANDS = {
    "demo": "server.cli.demo:demo",
    "serve": "server.cli.serve:serve",
    "sensors": "server.cli.sensors:sensors",
    "collect": "server.cli.collect:collect",
    "analyse": "server.cli.analyse:analyse",
    "import": "server.cli.importing:import_recording",
    "export": "server.cli.export:export",
    "profile": "server.cli.profile:profile_app",
}
"""Each command and where it stands, in the order of the help."""


def command_line(wanted: str | None = None) -> typer.Typer:
    """All commands, or only the wanted one where there is one of this name.

    A collector needs neither the service nor the database, and starts in a third of the time
    without them.
    """
    app = typer.Typer(
        name="torsolog",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode="markdown",
        help="Log two body-worn motion sensors and see how a golfer makes speed, swing by swing.",
        epilog=(
            "Swinging hard loads the lower back: warm up, stop at pain; licensed practice "
            "decides. Not a medical device."
        ),
    )
    app.callback()(root)
    for name in [wanted] if wanted in COMMANDS else COMMANDS:
        command = loaded(COMMANDS[name])
        if isinstance(command, typer.Typer):
            app.add_typer(command, name=name)
        else:
            app.command(name)(command)
    return app


def _show_version(wanted: bool) -> None:
    if wanted:
        out.print(f"torsolog {version('torsolog')}", markup=False)
        raise typer.Exit


def root(
    *,
    show_version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Say the version."),
    ] = False,
) -> None:
    """Log two body-worn motion sensors and see how a golfer makes speed, swing by swing."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave the process: 0 done, 1 bad input, 2 wrong use, 130 stopped."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: Sequence[str]) -> int:
    """Exit code of one command. Expected errors become one sentence on standard error."""
    try:
        app = command_line(arguments[0] if arguments else None)
        result = app(list(arguments), standalone_mode=False)
    except typer.TyperException as error:
        sentence = error.format_message()
        if sentence:  # empty where the help was asked for by giving no argument
            err.print(f"torsolog: {sentence}", markup=False)
        return error.exit_code
    except EXPECTED as error:
        err.print(f"torsolog: {' '.join(str(error).split())}", markup=False)
        return 1
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        err.print(f"torsolog: {error.strerror or error}{where}", markup=False)
        return 1
    except (KeyboardInterrupt, asyncio.CancelledError, typer.Abort):
        return 130
    return result if isinstance(result, int) else 0
