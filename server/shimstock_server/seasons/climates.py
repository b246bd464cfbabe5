"""Monthly outdoor normals of a place: entered, from a table, or from a typical year."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.air import dew_point, saturation_pressure, vapour_pressure
from shimstock_server.database.history import emit
from shimstock_server.database.tables.seasons import Climate
from shimstock_server.database.words import ClimateOrigin
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import KINDS, Quantity, convert
from shimstock_server.web.typed import kept
from shimstock_server.web.units import Unit

from .epw import read_epw
from .marks import mark
from .problems import NameUsedAlready
from .text_tables import Errors, expect_headings, read_table, the_heading

COLDEST, WARMEST = -60.0, 50.0
"""Of a month's mean; beyond it is another unit or a slip [degC]."""
MEASURES = {
    "relative_humidity": "relative-humidity",
    "dew_point": "temperature",
    "vapour_pressure": "pressure",
}
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_HEADINGS: dict[str, tuple[str, Unit]] = {
    "temperature_degC": ("temperature", Unit.CELSIUS),
    "temperature_degF": ("temperature", Unit.FAHRENHEIT),
    "relative_humidity_percent": ("relative_humidity", Unit.PERCENT),
    "dew_point_degC": ("dew_point", Unit.CELSIUS),
    "dew_point_degF": ("dew_point", Unit.FAHRENHEIT),
    "vapour_pressure_Pa": ("vapour_pressure", Unit.PASCAL),
}


def add_climate(session: Session, body: Mapping[str, Any]) -> Climate:
    """Add the normals of a place as they are entered.

    Raises
    ------
    InvalidFields
        When months are missing or there twice, or a value is outside nature.
    NameUsedAlready
        When another climate has this name.
    """
    values = _from_months(body["months"], lambda at, name: f"/months/{at}/{name}")
    return _store(
        session,
        Climate(
            name=body["name"],
            place=body["place"],
            source=body["source"],
            origin=ClimateOrigin.ENTERED,
            **values,
        ),
    )


def change_climate(session: Session, row: Climate, body: Mapping[str, Any]) -> Climate:
    """Change a place's name, source or normals."""
    if "months" in body:
        for name, value in _from_months(body["months"], lambda at, name: f"/months/{at}/{name}").items():
            setattr(row, name, value)
        row.origin, row.details = ClimateOrigin.ENTERED, {}
    if "name" in body and body["name"] != row.name:
        _refuse_taken(session, body["name"])
    for name in ("name", "place", "source"):
        if name in body:
            setattr(row, name, body[name])
    session.flush()
    emit(session, "climate.changed", row)
    mark(session, "all")
    return row


def climate_from_csv(session: Session, text: str, query: Mapping[str, Any]) -> Climate:
    """Add the normals of a place from a table: a month a line.

    Raises
    ------
    InvalidFields
        With every bad line; pointers are ``/lines/LINE/COLUMN``.
    """
    table = read_table(text)
    warmths = ("temperature_degC", "temperature_degF")
    damps = [name for name, (measure, _) in _HEADINGS.items() if measure != "temperature"]
    expect_headings(table, ("month",), warmths, damps)
    warmth, damp = the_heading(table, warmths), the_heading(table, damps)
    month_at = table.column(the_heading(table, ("month",)) or "month")
    errors = Errors()
    months: list[dict[str, Any]] = []
    numbers: list[int] = []
    for number, cells in table.lines:
        month = table.number(cells[month_at or 0])
        if month is None or month not in range(1, 13):
            errors.add(number, "month", "must be a month, 1 to 12")
            continue
        entry: dict[str, Any] = dict.fromkeys(MEASURES) | {"month": int(month)}
        for heading in (warmth, damp):
            measure, unit = _HEADINGS[heading or ""]
            value = table.number(cells[table.headings.index(heading or "")])
            if value is None:
                errors.add(number, heading or "", "must be a number")
                continue
            kind = KINDS[MEASURES.get(measure, "temperature")]
            entry[measure] = Quantity(convert(value, unit, kind.unit), value, unit)
        months.append(entry)
        numbers.append(number)
    errors.refuse("the table")
    headings = {_HEADINGS[each or ""][0]: each for each in (warmth, damp)}
    values = _from_months(months, lambda at, name: f"/lines/{numbers[at]}/{headings.get(name, name)}")
    return _store(
        session,
        Climate(
            name=query["name"],
            place=query.get("place"),
            source=query["source"],
            origin=ClimateOrigin.CSV,
            **values,
        ),
        "/query/name",
    )


def climate_from_epw(session: Session, text: str, query: Mapping[str, Any]) -> Climate:
    """Add the normals of a place from a typical year in EPW.

    Raises
    ------
    InvalidFields
        When it is no such file or a month has too few days.
    """
    year = read_epw(text)
    return _store(
        session,
        Climate(
            name=query.get("name") or year.name[:200],
            place=query.get("place") or year.place[:200] or None,
            source=query.get("source") or year.source[:1000],
            origin=ClimateOrigin.EPW,
            temperature=year.temperature,
            vapour_pressure=year.vapour_pressure,
            given={},
            details=year.details,
        ),
        "/query/name",
    )


def _store(session: Session, row: Climate, named_at: str = "/name") -> Climate:
    _refuse_taken(session, row.name, named_at)
    session.add(row)
    session.flush()
    emit(session, "climate.created", row)
    mark(session, "all")
    return row


def _refuse_taken(session: Session, name: str, at: str = "/name") -> None:
    if session.scalar(select(Climate.id).where(Climate.name == name)) is not None:
        raise NameUsedAlready(errors=[{"pointer": at, "message": "another climate has this name"}])


def _from_months(months: Sequence[Mapping[str, Any]], at: Any) -> dict[str, Any]:
    """Check twelve months and return what is kept of them."""
    errors: dict[str, str] = {}
    seen: dict[int, int] = {}
    for n, month in enumerate(months):
        if month["month"] in seen:
            errors[at(n, "month")] = f"{MONTHS[month['month'] - 1]} is there twice"
        seen[month["month"]] = n
    missing = [MONTHS[month - 1] for month in range(1, 13) if month not in seen]
    if missing:
        errors["/months"] = f"all twelve months are needed; {', '.join(missing)} missing"
    measures = {name for month in months for name in MEASURES if month.get(name) is not None}
    if len(measures) != 1:
        found = " and ".join(sorted(measures)) or "none of them"
        errors.setdefault(
            "/months", f"give one of {', '.join(MEASURES)}, the same for every month; {found} given"
        )
    if errors:
        raise InvalidFields.of(errors)
    measure = measures.pop()
    ordered = [months[seen[month]] for month in range(1, 13)]
    for month in ordered:
        errors |= _month_errors(month, measure, partial(at, seen[month["month"]]))
    if errors:
        raise InvalidFields.of(errors)
    temperature = [month["temperature"].value for month in ordered]
    amount = [month[measure].value for month in ordered]
    pressure: Sequence[float] | np.ndarray[Any, Any] = amount
    if measure == "relative_humidity":
        pressure = vapour_pressure(temperature, relative_humidity=amount)
    elif measure == "dew_point":
        pressure = vapour_pressure(temperature, dew_point=amount)
    _, typed = kept([{name: month[name] for name in ("temperature", measure)} for month in ordered])
    return {
        "temperature": temperature,
        "vapour_pressure": [max(1.0, float(value)) for value in pressure],
        "given": {"measure": measure, "values": amount, "typed": typed},
        "details": {},
    }


def _month_errors(month: Mapping[str, Any], measure: str, at: Any) -> dict[str, str]:
    name, errors = MONTHS[month["month"] - 1], {}
    warm = month["temperature"]
    if warm is None:
        return {at("temperature"): f"{name} has no temperature"}
    if not COLDEST <= warm.value <= WARMEST:
        hint = (
            f": was {warm.typed_value:g} meant in degF?"
            if warm.typed_unit is Unit.CELSIUS and -20.0 <= warm.typed_value <= 122.0
            else ""
        )
        errors[at("temperature")] = (
            f"a mean of {name} lies from {COLDEST:g} to {WARMEST:g} degC; {warm.value:.1f} was given{hint}"
        )
        return errors
    if month.get(measure) is None:
        return {at(measure): f"{name} has no {measure.replace('_', ' ')}"}
    damp = month[measure].value
    if measure == "relative_humidity" and not 0.0 < damp <= 100.0:
        errors[at(measure)] = f"must be above 0 and at most 100 percent; {damp:g} was given for {name}"
    if measure == "dew_point" and not -60.0 <= damp <= warm.value + 1e-9:
        errors[at(measure)] = f"must not lie above the temperature of {name}, {warm.value:.1f} degC"
    if measure == "vapour_pressure":
        most = float(saturation_pressure(warm.value))
        if not 0.0 < damp <= most * 1.001:
            errors[at(measure)] = (
                f"air of {warm.value:.1f} degC holds at most {most:.0f} Pa; {damp:g} was given for {name}"
            )
    return errors


def climate_told(row: Climate) -> dict[str, Any]:
    """Return a climate as it is answered."""
    dew = dew_point(row.vapour_pressure)
    humidity = [
        min(100.0, 100.0 * pressure / float(saturation_pressure(warm)))
        for warm, pressure in zip(row.temperature, row.vapour_pressure, strict=True)
    ]
    return {
        "id": row.id,
        "version": row.version,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        "name": row.name,
        "place": row.place,
        "source": row.source,
        "origin": row.origin,
        "measure": row.given.get("measure"),
        "months": [
            {
                "month": n + 1,
                "temperature": row.temperature[n],
                "vapour_pressure": row.vapour_pressure[n],
                "dew_point": float(dew[n]),
                "relative_humidity": humidity[n],
            }
            for n in range(12)
        ],
        "latitude": row.details.get("latitude"),
        "longitude": row.details.get("longitude"),
        "hours_used": row.details.get("hours_used"),
        "hours_left_out": row.details.get("hours_left_out"),
        "days_used": row.details.get("days_used", []),
    }


def name_told(name: str | None) -> str:
    """Return a place's name as it is compared: capitals and outer spaces aside."""
    return (name or "").strip().casefold()


def climates_by_name(session: Session) -> dict[str, UUID]:
    """Return the climates by their places and names, the oldest of several."""
    found: dict[str, UUID] = {}
    rows = session.execute(
        select(Climate.id, Climate.place, Climate.name).order_by(Climate.created_at, Climate.id)
    )
    for identifier, *names in rows:
        for name in names:
            if name_told(name):
                found.setdefault(name_told(name), identifier)
    return found


def refuse_unknown(session: Session, identifier: UUID | None, pointer: str = "/climate_id") -> None:
    """Refuse an id that no climate has."""
    if identifier is not None and session.get(Climate, identifier) is None:
        raise InvalidFields.at(pointer, "there is no climate with this id")
