"""Which test pins which calculation: comments in the tests, gathered for the page that explains the formulas.

A comment `# pins NAME: what it is checked against` inside a test, or above it, says so; lines that go on with
`#     ` belong to it. `python -m
tests.server.calculations.pins` writes what it finds to where the service reads it; a test compares the two.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).parents[2]
KEPT = TESTS.parent / "server" / "shimstock_server" / "calculations" / "checks.json"
PIN = re.compile(r"\s*# pins ([a-z-]+): (\S.*)")
MORE = re.compile(r"\s*#     (\S.*)")

Checks = dict[str, list[dict[str, str]]]


def collect() -> Checks:
    """Return the checks of each calculation, in the order of the files."""
    found: Checks = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        for name, against, test in pins_of(path.read_text(encoding="utf-8")):
            where = f"{path.relative_to(TESTS.parent).as_posix()}::{test}"
            found.setdefault(name, []).append({"test": where, "against": against})
    return dict(sorted(found.items()))


def pins_of(source: str) -> Iterator[tuple[str, str, str]]:
    """Yield calculation, what it is checked against, and the test, for each pin of a module.

    Raises
    ------
    LookupError
        When a pin stands at no test.
    """
    if "# pins " not in source:
        return
    tests = [
        (min([node.lineno, *(each.lineno for each in node.decorator_list)]), node.end_lineno or 0, node.name)
        for node in ast.parse(source).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    ]
    lines = source.splitlines()
    for number, line in enumerate(lines, start=1):
        match = PIN.fullmatch(line)
        if match is None:
            continue
        below = number
        while below < len(lines) and lines[below - 1].lstrip().startswith("#"):
            below += 1
        owner = [name for first, last, name in tests if first <= number <= last or first == below]
        if not owner:
            raise LookupError(f"the pin in line {number} stands at no test: {line.strip()}")
        yield match[1], " ".join([match[2], *_more(lines[number:])]), owner[0]


def _more(lines: list[str]) -> Iterator[str]:
    """Yield what the lines below a pin add to it."""
    for line in lines:
        match = MORE.fullmatch(line)
        if match is None:
            return
        yield match[1]


if __name__ == "__main__":
    KEPT.write_text(json.dumps(collect(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
