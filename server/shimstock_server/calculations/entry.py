"""One entry of the list of calculations, and the ways in which it can be asked."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from importlib.resources import files
from typing import Any

from .fields import Question, Result

Given = Mapping[str, Any]
"""The fields as they came, quantities as floats in the units that are kept."""
Work = Callable[[Given], Mapping[str, Any]]


@dataclass(frozen=True)
class OneOf:
    """Exactly one of these fields says it: a pitch by its name or by its frequency."""

    fields: tuple[str, ...]

    def __init__(self, *fields: str) -> None:
        object.__setattr__(self, "fields", fields)


@dataclass(frozen=True)
class AnyOf:
    """At least one of these fields says it."""

    fields: tuple[str, ...]

    def __init__(self, *fields: str) -> None:
        object.__setattr__(self, "fields", fields)


Need = str | OneOf | AnyOf


@dataclass(frozen=True)
class Way:
    """One direction of a calculation: what is found from what.

    Parameters
    ----------
    finds : str
        What it calculates, as the result's `calculated` says it.
    needs : tuple
        Fields that must be there: names, `OneOf`, `AnyOf`.
    work : function
        From the fields to the members of the result.
    may : tuple of str
        Fields that other ways need and this one takes too.
    blame : mapping
        Like the calculation's own, and before it.
    """

    finds: str
    needs: tuple[Need, ...]
    work: Work
    may: tuple[str, ...] = ()
    blame: Mapping[str, str] = field(default_factory=dict)

    def fields(self) -> set[str]:
        """Return every field that the needs name."""
        return {name for need in self.needs for name in names_of(need)}


def names_of(need: Need) -> tuple[str, ...]:
    """Return the fields that can fill a need."""
    return (need,) if isinstance(need, str) else need.fields


@dataclass(frozen=True)
class Calculation:
    """A calculation of the service.

    Parameters
    ----------
    name : str
        Its word in the address.
    title : str
        What it is, in a few words.
    about : str
        What it does and which way round it can be asked, in a few sentences.
    question, result : schema
        What it takes and what it answers, beside what all answer.
    ways : tuple of Way
        The directions in which it can be asked; which one, the fields that are given decide.
    source : tuple of str
        Published sources; "common practice, no published source" for a fact of the trade; "judgement" for a
        figure that was chosen.
    validity : str
        Where the formula holds.
    formulas : tuple of functions
        Functions of the calculation module whose documentation belongs to it.
    blame : mapping
        Parameter that a calculation blames, to the field of the question that it came from, where the
        names differ.
    """

    name: str
    title: str
    about: str
    question: type[Question]
    result: type[Result]
    ways: tuple[Way, ...]
    source: tuple[str, ...]
    validity: str
    formulas: tuple[Callable[..., Any], ...]
    blame: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def example(self) -> dict[str, Any]:
        """A body, and what it answers in mm; kept beside the code as `examples/<name>.json`."""
        text = (files(__package__) / "examples" / f"{self.name}.json").read_text(encoding="utf-8")
        kept: dict[str, Any] = json.loads(text)
        return kept

    @property
    def path(self) -> str:
        """Its address, without the prefix."""
        return f"/calculations/{self.name}"
