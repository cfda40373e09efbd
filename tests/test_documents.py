"""What the documents say is there is there, and what is there is in the documents."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analysis.columns import COLUMNS
from tests.support.readme_commands import readme_commands

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
PAGES = ("README.md", "DEVELOPERS.md", "CHANGELOG.md")


def test_the_readme_opens_with_the_job_then_the_picture_then_the_two_commands():
    title, job, picture, heading = README.split("\n\n")[:4]
    assert title == "# torsolog"
    assert "practitioners" in job
    assert picture.startswith("![")
    assert heading == "## Two commands"


def test_there_are_exactly_two_commands_one_line_each():
    demo, tests = readme_commands()
    assert demo.endswith("torsolog demo")
    assert tests.endswith("pytest -n 2")
    for command in (demo, tests):
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install -c constraints.")


@pytest.mark.parametrize("page", PAGES)
def test_every_file_that_a_document_points_to_is_there(page):
    text = (ROOT / page).read_text("utf-8")
    linked = re.findall(r"\]\(([^)#:]+)\)", text)
    named = re.findall(r"`((?:analysis|sensors|server|web|recordings|tests)/[\w./]+)`", text)
    missing = [name for name in linked + named if not (ROOT / name).exists()]
    assert not missing, f"{page} names {missing}"


def test_every_metric_says_its_unit_and_what_it_is():
    for column in COLUMNS:
        assert column.label, column.name
        assert re.fullmatch(r"[A-Z0-9].*\.", column.description), column.name
        assert column.unit or column.text or column.name in UNITLESS, column.name


UNITLESS = {"swing", "speed_gain", "tempo"}


def test_the_unit_in_a_columns_name_is_its_unit():
    endings = {"_deg": "°", "_dps": "°/s", "_dps2": "°/s²", "_ms": "ms", "_pct": "%"}
    for column in COLUMNS:
        for ending, unit in endings.items():
            if column.name.endswith(ending):
                assert column.unit == unit, column.name
