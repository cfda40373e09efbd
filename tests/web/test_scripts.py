"""The pages' models, which know no page, under node's own test runner."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "js"
LEAST_NODE = 20
"""First with a test clock in its test runner."""


def node() -> str:
    """Path of node; skips where there is none that is new enough."""
    path = shutil.which("node")
    if path is None:
        pytest.skip("node is not installed")
    said = subprocess.run([path, "--version"], capture_output=True, text=True, check=True).stdout
    if int(said.lstrip("v").split(".")[0]) < LEAST_NODE:
        pytest.skip(f"node {LEAST_NODE} or newer is needed, found {said.strip()}")
    return path


@pytest.mark.parametrize("file", sorted(FOLDER.glob("*.test.mjs")), ids=lambda file: file.stem)
def test_models_hold(file):
    command = [node(), "--test", "--test-reporter=tap", str(file)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    passed = re.search(r"^# pass (\d+)$", run.stdout, re.MULTILINE)
    assert passed
    assert int(passed.group(1)) > 3
