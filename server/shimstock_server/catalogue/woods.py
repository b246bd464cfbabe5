"""Woods and finishes of an instrument's parts, in the handbook's names where it has one."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from shimstock_calc._tables import table
from shimstock_calc.errors import Missing
from shimstock_calc.species import species

PARTS = ("neck", "fingerboard", "top", "back", "sides", "body", "bridge")
"""The parts whose wood matters to a setup."""


def normalised_parts(parts: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the parts with species and finish as the handbook prints them, where it knows them."""
    return [
        {**part, "species": known_species(part.get("species")), "finish": known_finish(part.get("finish"))}
        for part in parts
    ]


def known_species(name: str | None) -> str | None:
    """Return a species as the *Wood Handbook* prints it, or the name as it is when it holds no such wood.

    >>> known_species("SUGAR (hard) Maple"), known_species("bog oak")
    ('sugar (hard) maple', 'bog oak')
    """
    if name is None:
        return None
    try:
        return species(name).name
    except Missing:
        return name


@cache
def _finishes() -> dict[str, str]:
    return {row["finish"].casefold(): row["finish"] for row in table("finish_time_constants")}


def known_finish(name: str | None) -> str | None:
    """Return a finish as the table of finishes has it, or the name as it is."""
    return None if name is None else _finishes().get(name.casefold(), name)


def part_errors(parts: Iterable[dict[str, Any]]) -> dict[str, str]:
    """Return what does not fit among the parts: pointer to message."""
    errors: dict[str, str] = {}
    seen: set[str] = set()
    for n, part in enumerate(parts):
        if part["part"] in seen:
            errors[f"/parts/{n}/part"] = f"{part['part']} is there twice"
        seen.add(part["part"])
        if part.get("coats") is not None and part.get("finish") is None:
            errors[f"/parts/{n}/finish"] = "coats of what? Name the finish, or leave coats out"
    return errors
