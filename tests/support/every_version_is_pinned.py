"""Fails where this environment holds a distribution that constraints.txt does not pin."""

from __future__ import annotations

import re
import sys
from importlib.metadata import distributions
from pathlib import Path

CONSTRAINTS = Path(__file__).parents[2] / "constraints.txt"
OURS_OR_OF_THE_ENVIRONMENT = {"torsolog", "pip", "setuptools"}


def normal(name: str) -> str:
    """Name of a distribution as PEP 503 compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pinned(text: str) -> dict[str, str]:
    """Distribution -> version of each line `name==version`."""
    lines = (line.split("#")[0].strip() for line in text.splitlines())
    pairs = (line.split("==") for line in lines if line)
    return {normal(name): version for name, version in pairs}


def unpinned(installed: dict[str, str], pins: dict[str, str]) -> list[str]:
    """What is installed otherwise than pinned, as `name==version`."""
    return sorted(
        f"{name}=={version}"
        for name, version in installed.items()
        if name not in OURS_OR_OF_THE_ENVIRONMENT and pins.get(name) != version
    )


if __name__ == "__main__":
    here = {normal(found.metadata["Name"]): found.version for found in distributions()}
    loose = unpinned(here, pinned(CONSTRAINTS.read_text(encoding="utf-8")))
    if loose:
        sys.exit("constraints.txt does not pin: " + ", ".join(loose))
    print(f"all {len(here)} distributions are as constraints.txt pins them")
