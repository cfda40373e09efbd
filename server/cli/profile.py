"""`torsolog profile`: the sensors torsolog can read, and whether a profile of one is sound."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from sensors.profile import Profile
from sensors.profile_file import read_profile
from sensors.profile_library import load_profiles, user_profile_folder
from sensors.profile_summary import packet_lines, summary_lines
from server.cli.console import fail, say

profile_app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode="markdown",
    help="The sensors that can be read, and whether a profile of a sensor is sound.",
)


@profile_app.command("list")
def list_profiles() -> None:
    """List the profiles there are, one a line: id, name, rate, and where it is from.

    Your own profiles are files ending in .toml in your config folder; one with the id of a
    built-in profile takes its place.
    """
    library = load_profiles()
    width = max(len(profile.id) for profile in library.profiles)
    _print(
        f"{known.profile.id:<{width}}  {known.profile.rate_hz:>4g} Hz  {known.profile.name}"
        f"  ({known.path or 'built in'})"
        for known in library.known
    )
    for note in library.notes:
        say(note)
    for error in library.errors:
        say(f"{error}")
    say(f"your own profiles go into {user_profile_folder()}")
    if library.errors:
        fail(f"{len(library.errors)} of your own profiles cannot be used")


@profile_app.command("check")
def check(
    file: Annotated[Path, typer.Argument(help="A profile's TOML file, or the id of one listed.")],
    *,
    packet: Annotated[
        list[str] | None,
        typer.Option(
            help="A packet as hex digits, to be decoded by the profile; may be given repeatedly.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Say what a profile means, or what is wrong with it: line, key and what was expected.

    With --packet it decodes what a sensor sent to numbers with their units.
    """
    profile = _profile(file)
    payloads = [_payload(text) for text in packet or ()]
    if not payloads:
        _print(summary_lines(profile))
    for payload in payloads:
        _print(packet_lines(profile, payload))
    say(f"{file}: nothing is wrong with it")


def _profile(file: Path) -> Profile:
    if file.exists():
        return read_profile(file)
    library = load_profiles()
    ids = [profile.id for profile in library.profiles]
    if str(file) not in ids:
        fail(f"{file}: no such file; profiles that can be named are: {', '.join(ids)}")
    return library.get(str(file))


def _payload(text: str) -> bytes:
    digits = re.sub(r"0x|[\s:,-]", "", text.lower())
    if not digits or len(digits) % 2 or not re.fullmatch("[0-9a-f]+", digits):
        fail(f"--packet: expected pairs of hex digits such as '01 0a ff', received {text!r}")
    return bytes.fromhex(digits)


def _print(lines: Iterable[str]) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))
