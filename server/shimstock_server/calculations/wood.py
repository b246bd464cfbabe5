"""Wood and the air around it: moisture at rest, and movement across the grain."""

from __future__ import annotations

from typing import Any

from shimstock_calc import species, wood
from shimstock_calc.errors import Missing
from shimstock_server.web.fields import Choice, Number, Text

from .entry import Calculation, Given, OneOf, Way
from .fields import Question, Result, asked, calculated, told
from .remarks import sentences

HANDBOOK = "USDA Forest Service, Wood Handbook: Wood as an Engineering Material, FPL-GTR-190 (2010)"
BY_COEFFICIENT, BY_SHRINKAGE = "13-2", "13-3"


class WoodMoistureQuestion(Question):
    """Air, or the moisture that is wanted."""

    temperature = asked("temperature", -50.0, 100.0, "Temperature of the air", required=True)
    relative_humidity = asked("relative-humidity", 0.0, 100.0, "Humidity of the air")
    moisture = asked("moisture", 0.0, 40.0, "Moisture that the wood shall settle at")


class WoodMoistureResult(Result):
    """Air, and the moisture that wood settles at in it."""

    calculated = calculated("moisture", "relative_humidity")
    temperature = told("temperature", "Temperature of the air")
    relative_humidity = told("relative-humidity", "Humidity of the air")
    moisture = told("moisture", "Moisture of wood that has come to rest in it")


def _moisture(given: Given) -> dict[str, Any]:
    humidity, air = given["relative_humidity"], given["temperature"]
    return {**given, "moisture": float(wood.wood_moisture(humidity, air)), "note": _air_note(humidity, air)}


def _humidity(given: Given) -> dict[str, Any]:
    air = given["temperature"]
    humidity = float(wood.humidity_for_moisture(given["moisture"], air))
    return {**given, "relative_humidity": humidity, "note": _air_note(humidity, air)}


def _air_note(humidity: float, temperature: float) -> list[str]:
    return sentences(wood.moisture_notes(humidity, temperature))


WOOD_MOISTURE = Calculation(
    name="wood-moisture",
    title="Moisture that wood settles at in steady air",
    about=(
        "Temperature and humidity give the moisture that wood comes to; a wanted moisture gives how humid "
        "the air must be."
    ),
    question=WoodMoistureQuestion,
    result=WoodMoistureResult,
    ways=(
        Way("moisture", ("relative_humidity",), _moisture),
        Way("relative_humidity", ("moisture",), _humidity),
    ),
    source=(f"{HANDBOOK}, Eq. (4-5), within 0.06 % of moisture of its Table 4-2",),
    validity=(
        "5 to 95 % of relative humidity and -1 to 132 °C, where Table 4-2 reaches. One figure for all "
        "species: dense, oily tropical woods settle lower. It lies midway between wood that took moisture up "
        "and wood that gave it off, which settle about 8 % of the figure below and above it (Wood Handbook, "
        "ch. 4, from memory)."
    ),
    formulas=(wood.wood_moisture, wood.humidity_for_moisture),
)


class WoodMovementQuestion(Question):
    """A board, its wood, and the moisture or the width that it comes to."""

    width = asked("length", 0.1, 5000.0, "Across the grain, at the moisture before", required=True)
    moisture_before = asked("moisture", 0.0, 30.0, "Moisture before", required=True)
    moisture_after = asked("moisture", 0.0, 30.0, "Moisture afterwards")
    width_after = asked("length", 0.1, 5000.0, "Width afterwards, to find the moisture that it shows")
    species = Text(
        max=60,
        metadata={
            "description": "The wood, as the handbook prints it: Sitka spruce, sugar (hard) maple, "
            "Indian rosewood …; a name that it does not hold is answered with near ones."
        },
    )
    direction = Choice(
        ("tangential", "radial"), load_default="tangential",
        metadata={
            "description": "Across a flat-sawn board the wood moves tangentially, across a quarter-sawn one "
            "radially."
        },
    )  # fmt: skip
    coefficient = Number(
        1e-5, 0.01,
        metadata={"description": "Change of width per width and per % of moisture, instead of the wood."},
    )  # fmt: skip
    shrinkage = asked("share", 0.1, 20.0, "Shrinkage from green to ovendry, instead of the wood")


class WoodMovementResult(Result):
    """The board before and after."""

    calculated = calculated("width_after", "moisture_after")
    width = told("length", "Before")
    width_after = told("length", "Afterwards")
    change = told("thickness", "Change of width; positive = wider")
    moisture_before = told("moisture", "Before")
    moisture_after = told("moisture", "Afterwards")
    species = Text(allow_none=True, metadata={"description": "The wood, as the handbook prints it."})
    direction = Choice(("tangential", "radial"))
    coefficient = Number(allow_none=True, metadata={"description": "Per width and per % of moisture."})
    shrinkage = told("share", "From green to ovendry", maybe=True)
    basis = Text(max=300, metadata={"description": "Where coefficient or shrinkage come from."})
    equation = Choice((BY_COEFFICIENT, BY_SHRINKAGE), metadata={"description": "The handbook's equation."})


def _wood(given: Given) -> dict[str, Any]:
    """Return coefficient, shrinkage, name and basis of the wood that a question names."""
    if "species" not in given:
        return {
            "coefficient": given.get("coefficient"),
            "shrinkage": given.get("shrinkage"),
            "species": None,
            "basis": "as given",
        }
    found = species.species(given["species"])
    radial = given["direction"] == "radial"
    coefficient = found.coefficient_radial if radial else found.coefficient_tangential
    shrinkage = found.shrinkage_radial if radial else found.shrinkage_tangential
    if coefficient is None and shrinkage is None:
        raise Missing(f"the handbook prints no {given['direction']} movement of {found.name}", "direction")
    words = ("coefficient", "shrinkage")
    basis = [f"{word}: {found.basis[word]}" for word in words if found.basis[word]]
    return {
        "coefficient": coefficient,
        "shrinkage": shrinkage,
        "species": found.name,
        "basis": "; ".join(basis).replace("c_r", "radial").replace("c_t", "tangential"),
    }


def _equation(chosen: dict[str, Any], *moistures: float) -> str:
    """Return which equation holds: the first in its own range, else the other where it can be used."""
    if chosen["coefficient"] is None:
        return BY_SHRINKAGE
    if chosen["shrinkage"] is None or not wood.movement_notes(list(moistures), list(moistures)):
        return BY_COEFFICIENT
    return BY_SHRINKAGE


def _width_after(given: Given) -> dict[str, Any]:
    chosen = _wood(given)
    before, after = given["moisture_before"], given["moisture_after"]
    equation = _equation(chosen, before, after)
    if equation == BY_COEFFICIENT:
        change = wood.movement(given["width"], before, after, chosen["coefficient"])
    else:
        change = wood.movement_from_shrinkage(given["width"], before, after, chosen["shrinkage"])
    return _board(given, chosen, equation, given["width"] + float(change), after)


def _moisture_after(given: Given) -> dict[str, Any]:
    chosen = _wood(given)
    before, ends = given["moisture_before"], (given["width"], given["width_after"])
    if chosen["coefficient"] is None:
        after = float(wood.moisture_for_width_from_shrinkage(*ends, before, chosen["shrinkage"]))
        return _board(given, chosen, BY_SHRINKAGE, ends[1], after)
    after = float(wood.moisture_for_width(*ends, before, chosen["coefficient"]))
    equation = _equation(chosen, before, after)
    if equation == BY_SHRINKAGE:
        after = float(wood.moisture_for_width_from_shrinkage(*ends, before, chosen["shrinkage"]))
    return _board(given, chosen, equation, ends[1], after)


def _board(
    given: Given, chosen: dict[str, Any], equation: str, width_after: float, after: float
) -> dict[str, Any]:
    note = []
    if equation == BY_COEFFICIENT:
        note = sentences(wood.movement_notes(given["moisture_before"], after))
    return {
        "width": given["width"],
        "width_after": width_after,
        "change": width_after - given["width"],
        "moisture_before": given["moisture_before"],
        "moisture_after": after,
        "direction": given["direction"],
        "equation": equation,
        "note": note,
        **chosen,
    }


_WOOD = OneOf("species", "coefficient", "shrinkage")

WOOD_MOVEMENT = Calculation(
    name="wood-movement",
    title="How wide a board becomes when its moisture changes",
    about=(
        "The moisture afterwards gives the width across the grain; the width afterwards gives the moisture "
        "that it shows. The wood by its name, or its coefficient, or its shrinkage."
    ),
    question=WoodMovementQuestion,
    result=WoodMovementResult,
    ways=(
        Way("width_after", ("moisture_after", _WOOD), _width_after),
        Way("moisture_after", ("width_after", _WOOD), _moisture_after,
            blame={"width_before": "width"}),
    ),
    source=(
        f"{HANDBOOK}, Eq. (13-2) with the coefficients of Table 13-5",
        f"{HANDBOOK}, Eq. (13-3) with the shrinkage of Table 4-3",
    ),
    validity=(
        "Eq. (13-2) from 6 to 14 % of moisture; outside, Eq. (13-3) from the shrinkage, up to fibre "
        "saturation at 30 %. Free boards: one that is glued down moves less and strains."
    ),
    formulas=(wood.movement, wood.movement_from_shrinkage, wood.moisture_for_width,
              wood.moisture_for_width_from_shrinkage, species.species),
)  # fmt: skip
