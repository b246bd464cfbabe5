"""Prints how much of each area the deep run went through. Run as a program of its own, after the tests."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

from coverage import Coverage

PACKAGES = ("shimstock_calc", "shimstock_server", "shimstock_client")


def area(path: Path) -> str:
    """Return the package of a file and the area in it, such as `shimstock_server.jobs`."""
    package = next(number for number, part in enumerate(path.parts) if part in PACKAGES)
    return ".".join(path.parts[package:-1][:2])


def main() -> None:
    """Print a line for each area."""
    measured = Coverage()
    measured.load()
    lines: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    for file in measured.get_data().measured_files():
        _, statements, _, missing, _ = measured.analysis2(file)
        lines[area(Path(file))] += len(statements)
        missed[area(Path(file))] += len(missing)
    for name in sorted(lines):
        share = 100 * (1 - missed[name] / max(1, lines[name]))
        sys.stdout.write(f"{share:5.1f} %  {name:32} {missed[name]:5} of {lines[name]:5} lines missed\n")


if __name__ == "__main__":
    main()
