"""The calculations over HTTP: one address each, and the list of them."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from typing import Any

from shimstock_server.operations import PAGE_HEADERS
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.problems import CannotCalculate

from . import listing
from .answering import answer
from .entry import Calculation
from .page import calculations_page
from .registry import CALCULATIONS

blueprint = Blueprint(
    "calculations", "Each formula of the calculation module, for integrators and what-if questions."
)
pages = Blueprint("formulas", "The formulas behind the calculations, explained for people.", prefix="")


@blueprint.operation("GET", "/calculations", scopes=(), answer=listing.CalculationList)
def get_calculations() -> Answer:
    """List every calculation: what it does, its fields, its source, where it holds, and an example."""
    items, digest = _all()
    return Answer({"items": items}, digest=digest)


@cache
def _all() -> tuple[list[dict[str, Any]], str]:
    items = [listing.show(calculation) for calculation in CALCULATIONS]
    text = json.dumps(items, sort_keys=True, default=str)
    return items, hashlib.sha256(text.encode()).hexdigest()[:16]


@pages.operation("GET", "/docs/calculations", scopes=None, types=("text/html",), also={304: None})
def show_calculations() -> Answer:
    """Explain every calculation: formula, source, where it holds, and the checks that pin it."""
    made, digest = _page()
    return Answer(text=made, media_type="text/html", digest=digest, headers=PAGE_HEADERS)


@cache
def _page() -> tuple[str, str]:
    made = calculations_page()
    return made, hashlib.sha256(made.encode()).hexdigest()[:16]


def _serve(calculation: Calculation) -> None:
    def view(body: dict[str, Any]) -> dict[str, Any]:
        return answer(calculation, body)

    calculation.question.EXAMPLE = calculation.example["body"]
    view.__name__ = "calculate_" + calculation.name.replace("-", "_")
    view.__doc__ = f"{calculation.title}.\n\n{calculation.about}\n\nHolds for: {calculation.validity}"
    blueprint.operation(
        "POST", calculation.path, scopes=(), body=calculation.question, answer=calculation.result,
        conflicts=(CannotCalculate,),
    )(view)  # fmt: skip


for _each in CALCULATIONS:
    _serve(_each)
