"""What holds for every test."""

from __future__ import annotations

import os
from collections.abc import Generator

import pytest
from hypothesis import settings

# A machine shared with other work is slow now and then; time is measured in tests/benchmarks.
settings.register_profile("torsolog", deadline=None)
settings.load_profile("torsolog")

MAY_BE_AWAY = ("TORSOLOG_SHARED_DATA", "or newer is needed", "a small disk may not be mounted")
"""Reasons for a skip that are fine everywhere: data outside the project, a system's older node,
rights that a container does not give."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """With TORSOLOG_SKIP_NOTHING set, a test that skips for a missing tool fails instead."""
    report = yield
    if (
        report.skipped
        and os.environ.get("TORSOLOG_SKIP_NOTHING")
        and not hasattr(report, "wasxfail")
    ):
        reason = str(report.longrepr)
        if not any(words in reason for words in MAY_BE_AWAY):
            report.outcome = "failed"
            report.longrepr = f"skipped where nothing may be skipped: {reason}"
    return report
