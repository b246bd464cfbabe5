"""Instruments: adding and changing; each message names the field and what would be right."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.catalogue import fitting_errors, instrument_errors, named_in, normalised_parts
from shimstock_server.database.history import emit
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.words import Handedness
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept, retyped

from .problems import SerialTaken

FIELDS = (
    "model_id",
    "owner_id",
    "serial",
    "nickname",
    "made_in",
    "handedness",
    "string_set_id",
    "tuning_id",
    "strings_fitted_on",
    "named_consents",
    "truss_rod",
    "bridge",
    "parts",
    "home",
    "notes",
)
"""What an instrument says of itself."""


def add_instrument(session: Session, body: Mapping[str, Any]) -> Instrument:
    """Add an instrument."""
    values, typed = kept(body)
    values = _checked(session, values, None)
    row = Instrument(typed=typed)
    _store(row, values)
    session.add(row)
    session.flush()
    session.refresh(row)
    emit(session, "instrument.created", row)
    return row


def change_instrument(session: Session, row: Instrument, body: Mapping[str, Any]) -> Instrument:
    """Change an instrument; nested objects are replaced whole."""
    sent, typed = kept(body)
    if "model_id" in sent and sent["model_id"] != row.model_id and _has_jobs(session, row.id):
        raise InvalidFields.at("/model_id", "jobs of this instrument are known: it stays what it is")
    values = _checked(session, {**values_of(row), **sent}, row.id)
    _store(row, values)
    row.typed = retyped(row.typed, sent, typed)
    session.flush()
    session.refresh(row)
    emit(session, "instrument.changed", row)
    return row


def values_of(row: Instrument) -> dict[str, Any]:
    """Return an instrument's own fields in kept units, words as text."""
    return {field: getattr(row, field) for field in FIELDS} | {"handedness": row.handedness.value}


def _store(row: Instrument, values: Mapping[str, Any]) -> None:
    for field in FIELDS:
        setattr(row, field, values[field])
    row.handedness = Handedness(values["handedness"])


def _has_jobs(session: Session, instrument_id: UUID) -> bool:
    return session.scalar(select(Job.id).where(Job.instrument_id == instrument_id).limit(1)) is not None


def _checked(session: Session, values: Mapping[str, Any], own_id: UUID | None) -> dict[str, Any]:
    string_set, tuning, errors = named_in(session, values)
    model = session.get(InstrumentModel, values["model_id"])
    owner = session.get(Owner, values["owner_id"])
    if owner is None:
        errors["/owner_id"] = "there is no owner with this id"
    elif owner.erased_at is not None and own_id is None:
        errors["/owner_id"] = "this owner was erased; the instrument needs another"
    if model is None:
        errors["/model_id"] = "there is no instrument model with this id"
    else:
        errors |= fitting_errors(string_set, tuning, strings=model.strings, built_for=model.built_for.value)
        errors |= instrument_errors(
            model, bridge=values["bridge"], truss_rod=values["truss_rod"], parts=values["parts"]
        )
    errors |= _day_errors(session, values) | _home_errors(values.get("home"))
    if errors:
        raise InvalidFields.of(errors)
    _check_serial(session, values, own_id)
    return {**values, "parts": normalised_parts(values["parts"])}


def _day_errors(session: Session, values: Mapping[str, Any]) -> dict[str, str]:
    """Refuse what lies ahead of the calendar; a day's grace for the shop's zone."""
    now = session.info.get("now")
    if now is None:
        return {}
    errors: dict[str, str] = {}
    tomorrow = (now + timedelta(days=1)).date()
    if values.get("strings_fitted_on") is not None and values["strings_fitted_on"] > tomorrow:
        errors["/strings_fitted_on"] = "lies ahead; the strings on it now were put on today or before"
    if values.get("made_in") is not None and values["made_in"] > tomorrow.year:
        errors["/made_in"] = f"lies ahead; it was made in {tomorrow.year} or before"
    return errors


def _home_errors(home: Mapping[str, Any] | None) -> dict[str, str]:
    if home is None:
        return {}
    low, high = home.get("humidifier_set_point"), home.get("dehumidifier_set_point")
    if low is not None and high is not None and low > high:
        return {"/home/humidifier_set_point": "lies above the dehumidifier's: they would fight each other"}
    return {}


def _check_serial(session: Session, values: Mapping[str, Any], own_id: UUID | None) -> None:
    if values.get("serial") is None:
        return
    taken = session.scalar(
        select(Instrument.id).where(
            Instrument.model_id == values["model_id"], Instrument.serial == values["serial"]
        )
    )
    if taken is not None and taken != own_id:
        raise SerialTaken(
            errors=[{"pointer": "/serial", "message": "is taken by another instrument of this model"}]
        )


_OWN_ROD = {"turns_left_tighten": None, "turns_left_loosen": None, "reversed": None}
_OWN_BRIDGE: dict[str, Any] = {
    "height_left_up": None,
    "height_left_down": None,
    "travel_away": [],
    "travel_toward": [],
    "saddle_total_height": None,
}


def told(row: Instrument) -> dict[str, Any]:
    """Return an instrument as it is answered; what is not its own is null there."""
    return {
        "id": row.id,
        "version": row.version,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        **{field: getattr(row, field) for field in FIELDS},
        "model": row.model,
        "truss_rod": _OWN_ROD | row.truss_rod,
        "bridge": _OWN_BRIDGE | row.bridge,
        "typed": row.typed,
    }
