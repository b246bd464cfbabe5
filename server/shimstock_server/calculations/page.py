"""The page that explains the formulas: from the list of calculations and the words beside the functions."""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files
from typing import Any

from shimstock_server.operations import render_page

from . import listing
from .entry import Calculation
from .registry import CALCULATIONS

Checks = dict[str, list[dict[str, str]]]

_UNDERLINE = re.compile(r"-{3,}")


@cache
def checks() -> Checks:
    """Return which test pins which calculation, and against what."""
    kept: Checks = json.loads((files(__package__) / "checks.json").read_text(encoding="utf-8"))
    return kept


def calculations_page() -> str:
    """Return the page, in the look of the other pages."""
    return render_page(
        __package__, "calculations.html", calculations=[_shown(calculation) for calculation in CALCULATIONS]
    )


def _shown(calculation: Calculation) -> dict[str, Any]:
    item = listing.show(calculation)
    return {
        **item,
        "operation": "calculate_" + calculation.name.replace("-", "_"),
        "formulas": [explain(function) for function in calculation.formulas],
        "checks": checks().get(calculation.name, []),
        "body": _json(item["example"]["body"]),
        "answer": _json(calculation.example["answer"]),
    }


def _json(tree: Any) -> str:
    """Return JSON in few lines: what fits in one stays in one."""

    def told(value: Any, inside: int) -> str:
        text = json.dumps(value, ensure_ascii=False)
        if len(text) + inside <= 88 or not isinstance(value, (dict, list)) or not value:
            return text
        pad, end = " " * (inside + 2), " " * inside
        if isinstance(value, dict):
            rows = [f"{pad}{json.dumps(name)}: {told(below, inside + 2)}" for name, below in value.items()]
            return "{\n" + ",\n".join(rows) + f"\n{end}}}"
        rows = [pad + told(below, inside + 2) for below in value]
        return "[\n" + ",\n".join(rows) + f"\n{end}]"

    return told(tree, 0)


def explain(function: Callable[..., Any]) -> dict[str, Any]:
    """Return what the documentation of a function of the calculation module says.

    Returns
    -------
    dict
        Its `name`, `summary`, `parameters` and `returns` (name, what it is), `notes`, and `doctest`.
    """
    found = sections(inspect.cleandoc(function.__doc__ or ""))
    notes, doctest = _without_doctest(found.get("Notes", found[""]))
    if "Notes" not in found:
        notes = ""
    summary, _, rest = found[""].partition("\n\n")
    if not doctest:
        doctest = _without_doctest(rest)[1]
    module = function.__module__.removeprefix("shimstock_calc.")
    return {
        "name": f"{module}.{function.__name__}",
        "summary": " ".join(summary.split()),
        "parameters": list(_entries(found.get("Parameters", ""))),
        "returns": list(_entries(found.get("Returns", ""))),
        "notes": notes,
        "doctest": doctest,
    }


def sections(text: str) -> dict[str, str]:
    """Return the parts of a numpydoc docstring by heading; what stands before the first is under ``""``."""
    lines = text.splitlines()
    found: dict[str, list[str]] = {"": []}
    heading = ""
    for number, line in enumerate(lines):
        below = lines[number + 1] if number + 1 < len(lines) else ""
        if line and _UNDERLINE.fullmatch(below):
            heading = line.strip()
            found[heading] = []
        elif not _UNDERLINE.fullmatch(line):
            found[heading].append(line)
    return {name: "\n".join(part).strip("\n") for name, part in found.items()}


def _without_doctest(text: str) -> tuple[str, str]:
    """Return a text without its examples, and the examples."""
    words: list[str] = []
    examples: list[str] = []
    for block in re.split(r"\n\s*\n", text):
        (examples if block.lstrip().startswith(">>>") else words).append(block)
    return "\n\n".join(words), "\n\n".join(examples)


def _entries(text: str) -> Iterator[dict[str, str]]:
    """Yield the entries of a list of parameters: a name, and what is said of it."""
    name, about = "", list[str]()
    for line in [*text.splitlines(), "end"]:
        if line and not line.startswith(" "):
            if name:
                yield {"name": name, "about": " ".join(" ".join(about).split())}
            name, about = line.split(" : ")[0], []
        else:
            about.append(line)
