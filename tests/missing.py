"""Programs that a machine lacks: the tests that need one are skipped with the reason `no NAME found`.

The end of the run says what was not proven. With CI=true in the environment such a test fails instead.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Generator
from typing import Any

import pytest

from tests import postgresql

REASON = re.compile(r"no (\w+) found")
OTHER_WAYS = {"PostgreSQL": f" or name a server in {postgresql.NAMED_BY}"}
NOT_PROVEN = pytest.StashKey[Counter[str]]()


def missing(report: pytest.TestReport) -> str | None:
    """Return the name of the program for want of which a test was skipped."""
    found = REASON.search(report.longreprtext) if report.skipped else None
    return found[1] if found else None


def advice(name: str) -> str:
    """Say what to install."""
    return f"no {name} found: install {name}{OTHER_WAYS.get(name, '')}"


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, Any, Any]:
    """Fail what would be skipped where everything has to be proven."""
    report = yield
    name = missing(report)
    if name is not None and os.environ.get("CI") == "true":
        report.outcome = "failed"
        report.longrepr = advice(name)
    return report


class Counted:
    """Counts the tests that were skipped, in the process that reports."""

    def __init__(self, not_proven: Counter[str]) -> None:
        self.not_proven = not_proven

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note what was missing."""
        name = missing(report)
        if name is not None:
            self.not_proven[name] += 1


def pytest_sessionstart(session: pytest.Session) -> None:
    """Count from the first test on."""
    session.config.stash[NOT_PROVEN] = Counter()
    session.config.pluginmanager.register(Counted(session.config.stash[NOT_PROVEN]))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say what was not proven, loudly."""
    not_proven = config.stash[NOT_PROVEN]
    if not not_proven:
        return
    terminalreporter.section("NOT PROVEN", red=True, bold=True)
    for name in not_proven:
        terminalreporter.line(advice(name))
    told = ", ".join(f"{count} tests without {name}" for name, count in not_proven.items())
    terminalreporter.line(f"not proven: {told}")
