"""Turns plain data into the records that the plan is made from."""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from typing import Any, TypeVar, Union

from shimstock_calc.plan import model

Record = TypeVar("Record")


@functools.cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def record(kind: type[Record], plain: dict[str, Any]) -> Record:
    """Build a dataclass from plain data, its nested ones too; unknown fields fail."""
    hints = _hints(kind)
    return kind(**{name: _value(hints[name], value) for name, value in plain.items()})


def _value(hint: Any, value: Any) -> Any:
    if value is None:
        return None
    options = typing.get_args(hint) if typing.get_origin(hint) in {Union, types.UnionType} else (hint,)
    for option in options:
        if dataclasses.is_dataclass(option) and isinstance(value, dict):
            return record(option, value)  # type: ignore[arg-type]
        if typing.get_origin(option) is tuple:
            if isinstance(value, dict):
                return tuple((int(key), each) for key, each in value.items())
            inner = typing.get_args(option)[0]
            return tuple(_value(inner, each) for each in value)
    return value


def plan_input(case: dict[str, Any], **changes: Any) -> model.PlanInput:
    """Build a plan's input from a case; readings without an id, order or time get theirs by their place."""
    plain = {**case, **changes}
    adjustments = [
        {"id": f"a{place}", "order": place, **each} for place, each in enumerate(plain.get("adjustments", []))
    ]
    start = 1 + max((each["order"] for each in adjustments), default=-1)
    readings = [
        {"id": f"r{place:02}", "order": start + place, **each}
        for place, each in enumerate(plain.get("readings", []))
    ]
    consents = [{"id": f"c{place}", **each} for place, each in enumerate(plain.get("consents", []))]
    chosen = {field.name for field in dataclasses.fields(model.PlanInput)}
    given = {name: value for name, value in plain.items() if name in chosen}
    return record(
        model.PlanInput, {**given, "adjustments": adjustments, "readings": readings, "consents": consents}
    )
