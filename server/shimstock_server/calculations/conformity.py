"""Is a reading inside its limits, given how well the tool repeats and how finely it reads?"""

from __future__ import annotations

import math
from typing import Any

from shimstock_calc import conformity
from shimstock_server.database.words import Quantity
from shimstock_server.web.fields import Choice, Number, Truth, Whole

from .entry import AnyOf, Calculation, Given, Way
from .fields import AskedBeside, Question, Result, calculated, told, told_beside

QUANTITIES = (*(quantity.value for quantity in Quantity), "relative-humidity", "moisture")


def _asked(low: float, high: float, about: str) -> AskedBeside:
    return AskedBeside(QUANTITIES, low, high, about)


class ConformityQuestion(Question):
    """A reading, its limits and its tool; or some of them."""

    quantity = Choice(QUANTITIES, required=True, metadata={"description": "What was read."})
    value = _asked(-1000.0, 1000.0, "The reading")
    at_most = Truth(
        metadata={"description": "Whether it is known only to be that or less: a relief of 'zero or less'."},
    )
    lower = _asked(-1000.0, 1000.0, "Lower limit; none on that side when left out")
    upper = _asked(-1000.0, 1000.0, "Upper limit; none on that side when left out")
    uncertainty = _asked(1e-4, 100.0, "Standard uncertainty of the reading")
    repeatability = _asked(1e-4, 100.0, "Standard deviation of repeated readings with the tool")
    resolution = _asked(1e-4, 100.0, "Smallest step that the tool shows")
    factor = Number(
        0.01, 100,
        metadata={"description": "By what it was multiplied to convert it to another place; 1 else."},
    )  # fmt: skip
    repeats = Whole(
        1, conformity.MOST_REPEATS,
        metadata={"description": "How many readings were averaged; 1 else."},
    )  # fmt: skip


class ConformityResult(Result):
    """The chance of being in spec, and what can be said."""

    calculated = calculated("probability", "limits", "largest_uncertainty")
    quantity = Choice(QUANTITIES)
    probability = told("share", "Probability that the true value lies inside the limits", maybe=True)
    verdict = Choice(
        (conformity.IN_SPEC, conformity.OUT_OF_SPEC, conformity.TOO_CLOSE), allow_none=True,
        metadata={"description": "In spec from 95 %, out of spec up to 5 %."},
    )  # fmt: skip
    uncertainty = told_beside(
        "Standard uncertainty that was taken; null for an error of ± half a step", maybe=True
    )
    lowest = told_beside("Lowest reading that is surely in spec", maybe=True)
    highest = told_beside("Highest reading that is surely in spec", maybe=True)
    largest_uncertainty = told_beside(
        "Largest standard uncertainty that can still call a reading in spec", maybe=True
    )
    repeats_needed = Whole(
        allow_none=True,
        metadata={"description": "Readings to average until it is sure, should their mean stay."},
    )


def _uncertainty(given: Given) -> float | None:
    """Return the standard uncertainty; None when only the tool's step is known."""
    factor = given.get("factor", 1.0)
    if "uncertainty" in given:
        step = given.get("resolution", 0.0) / math.sqrt(12.0)
        return float(factor * max(given["uncertainty"], step))
    if "repeatability" in given:
        found = conformity.standard_uncertainty(
            given["repeatability"], given.get("resolution"), factor, given.get("repeats", 1)
        )
        return float(found)
    return None


def _step(given: Given) -> float:
    return float(given.get("factor", 1.0) * given["resolution"])


def _probability(given: Given) -> dict[str, Any]:
    lower, upper, u = given.get("lower"), given.get("upper"), _uncertainty(given)
    if given.get("at_most"):
        return _at_most(given, u)
    if u is None:
        found = float(conformity.probability_in_spec(given["value"], lower, upper, resolution=_step(given)))
    else:
        found = float(conformity.probability_in_spec(given["value"], lower, upper, uncertainty=u))
    word = conformity.verdict(found)
    return _result(
        given,
        probability=100.0 * found,
        verdict=word,
        uncertainty=u,
        repeats_needed=_repeats(given, word),
        note=_verdict_note(word),
    )


def _at_most(given: Given, u: float | None) -> dict[str, Any]:
    spread = u if u is not None else _step(given) / math.sqrt(12.0)
    word = conformity.verdict_at_most(given["value"], given.get("lower"), given.get("upper"), spread)
    note = ["A reading of that or less says how large it can be, not how small: read it with a straightedge."]
    return _result(given, verdict=word, uncertainty=spread, note=note + _verdict_note(word))


def _verdict_note(word: str) -> list[str]:
    if word == conformity.TOO_CLOSE:
        return ["Too close to call: read again or take a finer tool; nothing is filed on such a reading."]
    return []


def _repeats(given: Given, word: str) -> int | None:
    if word != conformity.TOO_CLOSE or "repeatability" not in given or "uncertainty" in given:
        return None
    resolution = given.get("resolution")
    return conformity.repeats_to_decide(
        given["value"], given.get("lower"), given.get("upper"),
        given.get("factor", 1.0) * given["repeatability"],
        resolution=None if resolution is None else _step(given),
    )  # fmt: skip


def _limits(given: Given) -> dict[str, Any]:
    lower, upper, u = given.get("lower"), given.get("upper"), _uncertainty(given)
    if u is None:
        ends = conformity.surely_in_spec_by_step(lower, upper, _step(given))
    else:
        ends = conformity.surely_in_spec(lower, upper, u)
    lowest, highest = (float(each) for each in ends)
    note = []
    if math.isnan(lowest):
        note = ["No reading with this tool is surely in spec: the tolerance is too narrow for it."]
    return _result(
        given,
        uncertainty=u,
        lowest=lowest if math.isfinite(lowest) else None,
        highest=highest if math.isfinite(highest) else None,
        note=note,
    )


def _largest_uncertainty(given: Given) -> dict[str, Any]:
    return _result(
        given, largest_uncertainty=float(conformity.largest_uncertainty(given["lower"], given["upper"]))
    )


def _result(given: Given, **found: Any) -> dict[str, Any]:
    return {"quantity": given["quantity"], **found}


_LIMITS = AnyOf("lower", "upper")
_READ = ("factor", "repeats")
_TOOL = AnyOf("uncertainty", "repeatability", "resolution")

CONFORMITY = Calculation(
    name="conformity",
    title="Whether a reading is in spec, and how surely",
    about=(
        "A reading with its limits and its tool gives the probability of being in spec and a verdict. "
        "Without the reading: between which readings the tool can say so. Limits alone: the largest "
        "uncertainty that a tool may have."
    ),
    question=ConformityQuestion,
    result=ConformityResult,
    ways=(
        Way("probability", ("value", _LIMITS, _TOOL), _probability, may=("at_most", *_READ)),
        Way("limits", (_LIMITS, _TOOL), _limits, may=_READ),
        Way("largest_uncertainty", ("lower", "upper"), _largest_uncertainty),
    ),
    source=(
        "JCGM 106:2012, The role of measurement uncertainty in conformity assessment, clauses 7 and 8",
        "JCGM 100:2008 (GUM) F.2.2.1 for a tool's resolution, 4.2.3 for the mean of several readings",
    ),
    validity=(
        "Normal error where repeatability or uncertainty is given; anywhere within ± half a step where only "
        "the resolution is. No prior knowledge of the quantity."
    ),
    formulas=(conformity.probability_in_spec, conformity.standard_uncertainty, conformity.verdict,
              conformity.surely_in_spec, conformity.surely_in_spec_by_step, conformity.largest_uncertainty),
    blame={"bound": "value"},
)  # fmt: skip
