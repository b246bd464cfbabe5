"""Published tables that travel with the package, read once."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """Rows of `data/<name>.csv` as text, without the comment lines that name the source."""
    text = files(__package__).joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return tuple(csv.DictReader(lines))


def number(text: str) -> float | None:
    """A cell as a float, None where the source prints nothing."""
    return float(text) if text.strip() else None
