"""Figures that tests measure: shown at the end of the run, also when the tests run in several processes."""

from __future__ import annotations

from collections.abc import Callable

import pytest

NAME = "figure"


@pytest.fixture
def figure(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Return a function that keeps one line for the end of the run."""
    return lambda line: record_property(NAME, line)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Show what was measured."""
    reports = [each for outcome in ("passed", "failed") for each in terminalreporter.getreports(outcome)]
    kept = [pair for each in reports if each.when == "call" for pair in each.user_properties]
    lines = [str(line) for name, line in kept if name == NAME]
    if lines:
        terminalreporter.section("figures")
    for line in lines:
        terminalreporter.line(line)
