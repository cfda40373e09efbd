"""Reads a profile from TOML; a mistake is told with line, key and what was expected."""

from __future__ import annotations

import difflib
import re
import tomllib
from pathlib import Path
from typing import Any, Final

import msgspec

from sensors.errors import ProfileError
from sensors.profile import PROFILE_FORMAT, Profile, profile_from_tables
from sensors.profile_checks import mistakes
from sensors.profile_schema import expected_at, keys_at
from sensors.toml_lines import KeyPath, key_lines, line_of

MAX_FILE_BYTES: Final = 256 * 1024
"""A profile takes 2 kB; a larger file is something else."""

_WORDS: Final = {
    "int": "a whole number",
    "float": "a number",
    "str": "text in quotes",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
}
_PLACE: Final = re.compile(r"^(?P<problem>.*?)(?: - at `(?P<place>[^`]*)`)?$", re.DOTALL)
_STEP: Final = re.compile(r"\.([^.\[\]]+)|\[(\d+)\]")


def read_profile(path: Path) -> Profile:
    """The profile that a file describes. Raises ProfileError with file, line and key."""
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise ProfileError(f"a profile holds at most {MAX_FILE_BYTES // 1024} kB of text", path)
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise ProfileError(f"expected UTF-8 text, byte {error.start} is none", path) from error
    except OSError as error:
        raise ProfileError(error.strerror or "cannot be read", path) from error
    return parse_profile(text, path)


def parse_profile(text: str, path: Path | None = None) -> Profile:
    """The profile that a text describes. Raises ProfileError with line and key."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(str(error), text, path) from error
    except RecursionError as error:
        raise ProfileError("nested too deeply for a profile", path) from error
    lines = key_lines(text)
    if tables.get("format", PROFILE_FORMAT) != PROFILE_FORMAT:
        raise ProfileError(
            f"this torsolog reads format {PROFILE_FORMAT}, received {tables['format']!r}",
            path,
            line=line_of(lines, ("format",)),
            key="format",
        )
    try:
        profile = profile_from_tables(tables)
    except msgspec.ValidationError as error:
        key, problem = _told(str(error), tables)
        raise ProfileError(
            problem, path, line=line_of(lines, key), key=key_text(key) or None
        ) from error
    found = next(mistakes(profile), None)
    if found is not None:
        line = line_of(lines, found.key)
        raise ProfileError(found.problem, path, line=line, key=key_text(found.key))
    return profile


def key_text(key: KeyPath) -> str:
    """A key as people write it: packet[0].samples."""
    text = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in key)
    return text.removeprefix(".")


def _not_toml(problem: str, text: str, path: Path | None) -> ProfileError:
    match = re.match(
        r"(?P<what>.*) \(at (?:line (?P<line>\d+), column \d+|end of document)\)", problem
    )
    if match is None:
        return ProfileError(f"not TOML: {problem}", path)
    line = int(match["line"]) if match["line"] else text.count("\n") + 1
    return ProfileError(f"not TOML: {match['what'].lower()}", path, line=line)


def _told(message: str, tables: dict[str, Any]) -> tuple[KeyPath, str]:
    """Key and problem, in words for people, of what the conversion complains about."""
    match = _PLACE.match(message)
    problem, place = (match["problem"], match["place"] or "") if match else (message, "")
    key: KeyPath = tuple(
        name or int(index) for name, index in _STEP.findall(place.removeprefix("$"))
    )
    if unknown := re.match(r"Object contains unknown field `(.*)`", problem):
        return (*key, unknown[1]), _no_such_key(unknown[1], keys_at(tables, key))
    if missing := re.match(r"Object missing required field `(.*)`", problem):
        key = (*key, missing[1])
        return key, f"the key is missing; expected {expected_at(tables, key)}"
    if value := re.match(r"Invalid (?:enum )?value (.*)", problem):
        return key, f"expected {expected_at(tables, key)}, received {value[1]}"
    if types := re.match(r"Expected `(.*)`, got `(.*)`", problem):
        wanted = " or ".join(_WORDS.get(kind, kind) for kind in types[1].split(" | "))
        return key, f"expected {wanted}, received {_WORDS.get(types[2], types[2])}"
    if length := re.match(r"Expected `array` of length (\d+), got (\d+)", problem):
        return key, f"expected a list of {length[1]}, received {length[2]}"
    return key, problem


def _no_such_key(name: str, keys: tuple[str, ...]) -> str:
    near = difflib.get_close_matches(name, keys, 1)
    meant = f"did you mean {near[0]!r}? " if near else ""
    return f"there is no such key here; {meant}It may have: {', '.join(keys)}"
