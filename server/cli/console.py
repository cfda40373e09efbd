"""How the command line speaks: results on standard output, everything else on standard error."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import NoReturn, TypeVar

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

Item = TypeVar("Item")

out = Console(highlight=False)
err = Console(stderr=True, highlight=False, soft_wrap=True)


class CommandError(Exception):
    """What the user gave cannot be used; the text is one sentence that says what to do."""


def fail(sentence: str) -> NoReturn:
    """End the command with one sentence and exit code 1."""
    raise CommandError(sentence)


def say(sentence: str) -> None:
    """One line for the person at the terminal, kept apart from the results."""
    err.print(sentence, markup=False)


@contextmanager
def progress(label: str, total: float | None) -> Iterator[Progress]:
    """A bar on a terminal, nothing where standard error is a file; gone when done."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(compact=True),
        console=err,
        transient=True,
        disable=not err.is_terminal,
    )
    with bar:
        bar.add_task(label, total=total)
        yield bar


def advancing(items: Iterable[Item], label: str, total: float) -> Iterator[Item]:
    """The same items, moving a bar on by one for each."""
    with progress(label, total) as bar:
        for item in items:
            yield item
            bar.advance(bar.task_ids[0])
