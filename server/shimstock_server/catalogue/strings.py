"""Strings of a set: what they are made of, what they weigh, and whether the entries fit each other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal

from shimstock_calc.strings import MATERIALS, plain_linear_density, wound_diameter, wound_linear_density

STRING_MATERIALS = ("steel", "nylon", "fluorocarbon", "gut")

# Plated wraps count as their core metal: the plating adds less than 1 % (from memory).
WRAP_MATERIALS: dict[str, str] = {
    "steel": "steel",
    "nickel-plated-steel": "steel",
    "stainless-steel": "stainless steel",
    "nickel": "nickel",
    "phosphor-bronze": "phosphor bronze",
    "brass-80-20": "brass 80/20",
    "brass-90-10": "brass 90/10",
    "copper": "copper",
    "silver-plated-copper": "copper",
    "silver": "silver",
}
"""Our word for a wrap to the material whose density is taken."""

Source = Literal["stated", "computed", "unknown"]

# Gauge against the sum of core and wraps: wraps are pressed and ground, gauges rounded (judgement).
_GAUGE_TOLERANCE = 0.08


def linear_density(string: Mapping[str, Any]) -> tuple[float | None, Source]:
    """Return what a string weighs per length [g/m], and how that is known.

    Stated wins. A plain steel string is computed from its gauge, a wound one on steel from core and wrap;
    nylon, gut and fluorocarbon vary too much from maker to maker to be computed.
    """
    if string.get("linear_density") is not None:
        return float(string["linear_density"]), "stated"
    if string["material"] != "steel":
        return None, "unknown"
    if not string["wound"]:
        return float(plain_linear_density(string["gauge"])), "computed"
    if any(string.get(field) is None for field in ("core", "wrap", "wrap_material")):
        return None, "unknown"
    density = MATERIALS[WRAP_MATERIALS[string["wrap_material"]]].density
    shape: Literal["round", "hex"] = "hex" if string.get("core_shape") == "hex" else "round"
    return float(
        wound_linear_density(string["core"], string["wrap"], wrap_density=density, core_shape=shape)
    ), "computed"


def core_diameter(string: Mapping[str, Any]) -> float | None:
    """Return the diameter of what carries the pull [mm]; a hexagonal core as a round one of the same area."""
    if not string["wound"]:
        return float(string["gauge"])
    core = string.get("core")
    if core is None:
        return None
    # Area of a hexagon of size s across flats: (sqrt(3)/2) s².
    return (
        float(core) * math.sqrt(2.0 * math.sqrt(3.0) / math.pi)
        if string.get("core_shape") == "hex"
        else float(core)
    )


def string_errors(strings: Sequence[Mapping[str, Any]], built_for: str) -> dict[str, str]:
    """Return what does not fit among the strings of a set: pointer below the set to message."""
    errors: dict[str, str] = {}
    numbers = [string["number"] for string in strings]
    for n, string in enumerate(strings):
        place = f"/strings/{n}"
        if string["number"] != n + 1:
            errors[f"{place}/number"] = (
                f"strings are listed from string 1, on the treble side: {n + 1} belongs here"
                if numbers.count(string["number"]) == 1
                else f"string {string['number']} is there twice"
            )
        errors |= {place + below: message for below, message in _one_string(string, built_for).items()}
    return errors


def _one_string(string: Mapping[str, Any], built_for: str) -> dict[str, str]:
    errors: dict[str, str] = {}
    if built_for == "nylon" and string["material"] == "steel":
        errors["/material"] = (
            "a set for instruments built for nylon has no steel strings: they would pull too hard"
        )
    if not string["wound"]:
        for field in ("core", "core_shape", "wrap", "wrap_material"):
            if string.get(field) is not None:
                errors[f"/{field}"] = (
                    "a plain string has no core and no wrap; say wound: true, or leave it out"
                )
        return errors
    if string.get("core_shape") is not None and string.get("core") is None:
        errors["/core"] = "a core with a shape needs its size"
    if string.get("core") is not None and string["core"] >= string["gauge"]:
        errors["/core"] = "the core must be thinner than the string"
    elif string.get("core") is not None and string.get("wrap") is not None:
        whole = float(
            wound_diameter(
                string["core"], string["wrap"], "hex" if string.get("core_shape") == "hex" else "round"
            )
        )
        if abs(whole / string["gauge"] - 1.0) > _GAUGE_TOLERANCE:
            errors["/wrap"] = (
                f"core and wrap make a string of {whole:.3f} mm, the gauge says {string['gauge']:.3f} mm: "
                "one of the three is wrong"
            )
    return errors
