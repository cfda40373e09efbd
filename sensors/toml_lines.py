"""On which line of a TOML text each key stands.

The standard library's reader tells the line of a fault in the form only; what is wrong with a
value is found later, and then its line is wanted. The text was read without fault before, so this
looks for where things begin and leaves their rules to the reader.
"""

from __future__ import annotations

import re
import tomllib
from typing import Final

KeyPath = tuple[str | int, ...]

_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY: Final = re.compile(r"""[ \t]*([A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')[ \t]*""")
_STRING: Final = re.compile(
    r'"""(?:[^\\]|\\.)*?"""+|' r"'''.*?'''+|" r'"(?:[^"\\\n]|\\.)*"|' r"'[^'\n]*'", re.DOTALL
)
_BARE: Final = re.compile(r"[^,\]}#\n]*")


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line, from 1, of every key, table and list item of a TOML text that can be read.

    Items of lists are counted from 0, as in ("packet", 0, "header", 1, "type").
    """
    return _Scan(text).lines


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int | None:
    """Line of a key, or of the nearest thing around it that is there."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Scan:
    def __init__(self, text: str) -> None:
        self.lines: dict[KeyPath, int] = {}
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._arrays: dict[KeyPath, int] = {}
        table: KeyPath = ()
        self._blank()
        while self._at < len(self._text):
            if self._text.startswith("[", self._at):
                table = self._table()
            else:
                self._pair(table)
            self._blank()

    def _blank(self) -> None:
        match = _BLANK.match(self._text, self._at)
        self._at = match.end() if match else self._at

    def _note(self, path: KeyPath) -> None:
        self.lines.setdefault(path, self._text.count("\n", 0, self._at) + 1)

    def _keys(self) -> list[str]:
        keys = []
        while match := _KEY.match(self._text, self._at):
            self._at = match.end()
            raw = match.group(1)
            keys.append(str(tomllib.loads(f"x={raw}")["x"]) if raw[0] in "\"'" else raw)
            if not self._text.startswith(".", self._at):
                break
            self._at += 1
        if not keys:
            # Not a key where one must stand: the reader before would not have let it pass.
            self._at = len(self._text)
        return keys

    def _table(self) -> KeyPath:
        many = self._text.startswith("[[", self._at)
        here = self._at
        self._at += 2 if many else 1
        keys = self._keys()
        end, self._at = self._at, here
        path: KeyPath = ()
        for key in keys:
            path = (*path, key)
            if many and len(path) - sum(isinstance(p, int) for p in path) == len(keys):
                self._arrays[path] = self._arrays.get(path, -1) + 1
            if path in self._arrays:
                path = (*path, self._arrays[path])
        for length in range(1, len(path) + 1):
            self._note(path[:length])
        self._at = end + (2 if many else 1)
        return path

    def _pair(self, table: KeyPath) -> None:
        self._blank()
        here = self._at
        path = (*table, *self._keys())
        end, self._at = self._at, here
        self._note(path)
        self._at = end + 1
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._blank()
        opening = self._text[self._at : self._at + 1]
        if opening == "[":
            self._at += 1
            self._items(path)
        elif opening == "{":
            self._at += 1
            self._inline(path)
        else:
            match = _STRING.match(self._text, self._at) or _BARE.match(self._text, self._at)
            self._at = match.end() if match else len(self._text)

    def _items(self, path: KeyPath) -> None:
        index = 0
        while not self._ends("]"):
            self._note((*path, index))
            self._value((*path, index))
            index += 1

    def _inline(self, path: KeyPath) -> None:
        while not self._ends("}"):
            self._pair(path)

    def _ends(self, closing: str) -> bool:
        """Passes commas and blanks; whether the bracket closes here."""
        self._blank()
        while self._text.startswith(",", self._at):
            self._at += 1
            self._blank()
        if self._at >= len(self._text):
            return True
        if self._text.startswith(closing, self._at):
            self._at += 1
            return True
        return False
