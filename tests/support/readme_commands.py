"""The two commands of the README, read from the page itself."""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"


def readme_commands() -> list[str]:
    """The shell lines of the section `Two commands`, in their order."""
    page = README.read_text(encoding="utf-8")
    section = page.split("\n## Two commands\n")[1].split("\n## ")[0]
    blocks = re.findall(r"```sh\n(.*?)```", section, flags=re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line]


if __name__ == "__main__":
    print(readme_commands()[int(sys.argv[1]) - 1])
