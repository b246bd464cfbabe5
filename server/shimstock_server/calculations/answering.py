"""From a question to its answer: which way it is asked, the work, and whom an error points at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from flask import current_app

from shimstock_calc.errors import CalculationError
from shimstock_server.web.problems import CannotCalculate, InvalidFields, pointer
from shimstock_server.web.typed import kept

from .entry import AnyOf, Calculation, Given, Way, names_of

LARGEST = 1e9
"""Quantities of the service are smaller, in whichever unit."""


def answer(calculation: Calculation, body: Mapping[str, Any]) -> dict[str, Any]:
    """Return the members of the answer to a question.

    Raises
    ------
    InvalidFields
        When the fields given fit none of the ways in which the calculation can be asked.
    CannotCalculate
        When the calculation says why it cannot answer; the error points at the field.
    """
    given: Given = kept(body)[0]
    way = choose(calculation, given)
    try:
        found = way.work(given)
    except CalculationError as error:
        raise _problem(calculation, way, given, error) from None
    _refuse_absurd(way, given, found)
    members: dict[str, Any] = dict.fromkeys(calculation.result().fields)
    members |= {"source": calculation.source, "validity": calculation.validity, "note": []}
    return members | {"calculated": way.finds} | dict(found)


def choose(calculation: Calculation, given: Given) -> Way:
    """Return the way that the given fields ask for.

    Raises
    ------
    InvalidFields
        Naming the fields that are missing or too many for the ways that come closest.
    """
    deciding = set().union(*(way.fields() | set(way.may) for way in calculation.ways))
    there = deciding & set(given)
    misfits = [(way, _misfits(way, there)) for way in calculation.ways]
    for way, wrong in misfits:
        if not wrong:
            return way
    fewest = min(len(wrong) for _, wrong in misfits)
    told: dict[str, list[str]] = {}
    for way, wrong in misfits:
        if len(wrong) == fewest:
            for name, message in wrong.items():
                told.setdefault(name, []).append(f"{message} to calculate {_words(way.finds)}")
    raise InvalidFields.of({pointer(name): ", or ".join(messages) for name, messages in told.items()})


def _misfits(way: Way, there: set[str]) -> dict[str, str]:
    """Return what stands between the given fields and a way: field to message."""
    wrong: dict[str, str] = {}
    taken: set[str] = set(way.may)
    for need in way.needs:
        names = names_of(need)
        found = [name for name in names if name in there]
        taken |= set(names)
        if not found:
            other = f", or give {_either(names[1:])} instead," if len(names) > 1 else ""
            wrong[names[0]] = f"is needed{other}"
        elif len(found) > 1 and not isinstance(need, AnyOf):
            wrong |= dict.fromkeys(found[1:], f"leave it out beside {found[0]}")
    return wrong | dict.fromkeys(sorted(there - taken), "leave it out")


def _words(name: str) -> str:
    return name.replace("_", " ")


def _either(names: Iterable[str]) -> str:
    return " or ".join(names)


def _problem(calculation: Calculation, way: Way, given: Given, error: CalculationError) -> CannotCalculate:
    at = pointer(*_path(calculation, way, given, error.field or ""))
    errors = [{"pointer": at, "message": error.message}]
    return CannotCalculate(error.message, errors=errors, reason=error.code)


def _path(calculation: Calculation, way: Way, given: Given, blamed: str) -> list[str]:
    """Return the path of the field of the question that a calculation blames."""
    name = way.blame.get(blamed) or calculation.blame.get(blamed) or blamed
    parts = name.split(".") if name else []
    if not parts or parts[0] not in calculation.question().fields:
        if current_app.debug:
            raise AssertionError(f"{calculation.name} blames {blamed!r}, which is no field of its question")
        return []
    if parts[0] not in given:
        parts[0] = _stands_for(way, given, parts[0])
    return parts


def _stands_for(way: Way, given: Given, name: str) -> str:
    """Return the field that was given instead of another: `note` instead of `frequency`."""
    for need in way.needs:
        names = names_of(need)
        if name in names:
            return next((other for other in names if other in given), name)
    return name


def _refuse_absurd(way: Way, given: Given, found: Any) -> None:
    """Refuse an answer that is no finite number, or larger than any quantity that the service tells."""
    open_ = [found]
    while open_:
        here = open_.pop()
        if isinstance(here, Mapping):
            open_.extend(here.values())
        elif isinstance(here, (list, tuple)):
            open_.extend(here)
        elif isinstance(here, float) and not abs(here) < LARGEST:
            message = "together these values lead to no sensible number: are they all of one instrument?"
            fields = [name for name in given if name in way.fields() | set(way.may)]
            raise CannotCalculate(
                message[0].upper() + message[1:],
                errors=[{"pointer": pointer(name), "message": message} for name in fields or given],
                reason="out-of-range",
            )
