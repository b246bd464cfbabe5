"""Instrument models: adding, changing, and what they lack."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BuiltFor, Kind
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept, retyped

from .lacks import Lack, lacks_of_model
from .model_checks import default_built_for, model_errors
from .problems import NameTaken
from .string_sets import fitting_errors, named_in
from .woods import normalised_parts

FIELDS = (
    "maker",
    "name",
    "kind",
    "built_for",
    "strings",
    "courses",
    "scale_bass",
    "scale_treble",
    "perpendicular_fret",
    "frets",
    "body_joint_fret",
    "radius_nut",
    "radius_body_end",
    "bridge",
    "truss_rod",
    "nut",
    "neck_joint",
    "pickups",
    "parts",
    "greatest_pull",
    "named_consents",
    "delicate_finish",
    "string_set_id",
    "tuning_id",
    "notes",
)
"""What a model says of itself."""


def create_model(session: Session, body: Mapping[str, Any]) -> InstrumentModel:
    """Add an instrument model to the catalogue."""
    values, typed = kept(body)
    values = _checked(session, values)
    _check_name(session, values)
    row = InstrumentModel(typed=typed)
    _store(row, values)
    session.add(row)
    session.flush()
    emit(session, "instrument-model.created", row)
    return row


def change_model(session: Session, row: InstrumentModel, body: Mapping[str, Any]) -> InstrumentModel:
    """Change an instrument model; nested objects are replaced whole."""
    sent, typed = kept(body)
    values = _checked(session, {**values_of(row), **sent})
    if values["strings"] != row.strings and _has_instruments(session, row):
        raise InvalidFields.at(
            "/strings", f"instruments of this model are known: it keeps its {row.strings} strings"
        )
    if (values["maker"], values["name"]) != (row.maker, row.name):
        _check_name(session, values)
    _store(row, values)
    row.typed = retyped(row.typed, sent, typed)
    session.flush()
    emit(session, "instrument-model.changed", row)
    return row


def _has_instruments(session: Session, row: InstrumentModel) -> bool:
    return session.scalar(select(Instrument.id).where(Instrument.model_id == row.id).limit(1)) is not None


def values_of(row: InstrumentModel) -> dict[str, Any]:
    """Return a model's fields in kept units, words as text."""
    values = {field: getattr(row, field) for field in FIELDS}
    return {**values, "kind": row.kind.value, "built_for": row.built_for.value}


def whole(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return a model's fields with what follows from others filled in, woods in the handbook's names.

    Raises
    ------
    InvalidFields
        When something cannot be true of an instrument.
    """
    filled = dict(values)
    if filled.get("built_for") is None:
        filled["built_for"] = default_built_for(filled["kind"])
    errors = model_errors(filled)
    if errors:
        raise InvalidFields.of(errors)
    filled["parts"] = normalised_parts(filled["parts"])
    return filled


def _checked(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    string_set, tuning, unknown = named_in(session, values)
    try:
        filled = whole(values)
    except InvalidFields as problem:
        raise InvalidFields(
            errors=[
                *(problem.errors or []),
                *({"pointer": at, "message": told} for at, told in unknown.items()),
            ]
        ) from None
    errors = unknown | fitting_errors(
        string_set, tuning, strings=filled["strings"], built_for=filled["built_for"]
    )
    if errors:
        raise InvalidFields.of(errors)
    return filled


def _store(row: InstrumentModel, values: Mapping[str, Any]) -> None:
    for field in FIELDS:
        setattr(row, field, values[field])
    row.kind, row.built_for = Kind(values["kind"]), BuiltFor(values["built_for"])


def _check_name(session: Session, values: Mapping[str, Any]) -> None:
    taken = session.scalar(
        select(InstrumentModel.id).where(
            InstrumentModel.maker == values["maker"], InstrumentModel.name == values["name"]
        )
    )
    if taken is not None:
        raise NameTaken(
            f"{values['maker']} {values['name']!r} is in the catalogue already.",
            errors=[{"pointer": "/name", "message": "is taken by another model of this maker"}],
        )


def lacks(row: InstrumentModel) -> list[Lack]:
    """List what the plan needs and this model does not say."""
    return lacks_of_model(values_of(row))


def told(row: InstrumentModel) -> dict[str, Any]:
    """Return a model as it is answered."""
    return {
        "id": row.id,
        "version": row.version,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        **{field: getattr(row, field) for field in FIELDS},
        "typed": row.typed,
        "lacks": lacks(row),
    }
