"""Schemas of owners and their instruments."""

from __future__ import annotations

from typing import Any, ClassVar

from shimstock_server.catalogue import (
    BridgeLeftIn,
    BridgeLeftOut,
    RodLeftIn,
    RodLeftOut,
    WoodPartIn,
    WoodPartOut,
)
from shimstock_server.database.words import Handedness, Kind, Units
from shimstock_server.web.fields import (
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    MapOf,
    Nested,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.quantities import QuantityIn, QuantityOut
from shimstock_server.web.typed import AsTyped, without_defaults

KEPT_IN = ("case", "wall", "stand")
_LANGUAGE: dict[str, Any] = {
    "max": 35,
    "pattern": r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*",
    "pattern_hint": "must be a language tag such as en or de-AT",
}


def _unknown(**bounds: Any) -> dict[str, Any]:
    """What an optional field takes: null and absence mean not known."""
    return {"load_default": None, "allow_none": True, **bounds}


class OwnerIn(StrictSchema):
    """A person who owns instruments."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "name": "Ansel Drumgoolde",
        "email": "ansel@drumgoolde.example",
        "units": "mm",
    }

    name = Text(max=200, required=True)
    email = Text(
        pattern=r"[^@\s]+@[^@\s]+\.[^@\s]+",
        pattern_hint="must be an address such as name@host.example",
        **_unknown(max=320),
    )
    phone = Text(
        pattern=r"\+?[0-9][0-9 ()/.\-]*", pattern_hint="must be a telephone number", **_unknown(max=60)
    )
    note = Text(multiline=True, **_unknown(max=4000))
    units = Choice(Units, load_default=Units.MM)
    language = Text(load_default="en", **_LANGUAGE)


OwnerChange: Any = without_defaults(OwnerIn, "OwnerChange", "A change of an owner.")


class OwnerOut(StrictSchema):
    """A person who owns instruments; `erased_at` tells when the name was taken out."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text(allow_none=True)
    email = Text(max=320, allow_none=True)
    phone = Text(allow_none=True)
    note = Text(max=4000, allow_none=True)
    units = Choice(Units)
    language = Text()
    erased_at = Instant(allow_none=True)


class OwnerQuery(PageQuery):
    """Owners whose name, or a word of it, begins so; capitals and accents do not matter."""

    name = Text(max=200)


class ErasureIn(StrictSchema):
    """Whether to erase although a job is open."""

    force = Truth(load_default=False)


class HomeIn(StrictSchema):
    """Where an instrument lives: what the seasons do to it follows from here."""

    place = Text(**_unknown(max=200))
    kept = Choice(KEPT_IN, **_unknown())
    heating_set_point = QuantityIn("temperature", **_unknown(min=5.0, max=30.0))
    cooled = Truth(load_default=False)
    humidifier_set_point = QuantityIn("relative-humidity", **_unknown(min=5.0, max=98.0))
    dehumidifier_set_point = QuantityIn("relative-humidity", **_unknown(min=5.0, max=98.0))
    moisture_excess = QuantityIn("vapour-density", **_unknown(min=0.0, max=15.0))
    note = Text(**_unknown(max=1000))


class HomeOut(StrictSchema):
    """Where an instrument lives."""

    place = Text(allow_none=True)
    kept = Choice(KEPT_IN, allow_none=True)
    heating_set_point = QuantityOut("temperature", allow_none=True)
    cooled = Truth()
    humidifier_set_point = QuantityOut("relative-humidity", allow_none=True)
    dehumidifier_set_point = QuantityOut("relative-humidity", allow_none=True)
    moisture_excess = QuantityOut("vapour-density", allow_none=True)
    note = Text(max=1000, allow_none=True)


class InstrumentIn(StrictSchema):
    """An instrument of an owner; what is left out is as on its model."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "model_id": "01a20f00-0000-7000-8000-000000000001",
        "owner_id": "01a20f00-0000-7000-8000-000000000002",
        "serial": "H-0448",
    }

    model_id = Id(required=True)
    owner_id = Id(required=True)
    serial = Text(**_unknown(max=100))
    nickname = Text(**_unknown(max=200))
    made_in = Whole(1500, 2200, **_unknown(metadata={"description": "The year it was made."}))
    handedness = Choice(Handedness, load_default=Handedness.RIGHT)
    string_set_id = Id(**_unknown())
    tuning_id = Id(**_unknown())
    strings_fitted_on = Day(**_unknown())
    named_consents = Truth(load_default=False)
    truss_rod = Nested(RodLeftIn, load_default=dict)
    bridge = Nested(BridgeLeftIn, load_default=dict)
    parts = ListOf(Nested(WoodPartIn), max=7, load_default=list)
    home = Nested(HomeIn, load_default=None, allow_none=True)
    notes = Text(multiline=True, **_unknown(max=4000))


InstrumentChange: Any = without_defaults(
    InstrumentIn, "InstrumentChange", "A change of an instrument; nested objects are replaced whole."
)


class InstrumentModelBriefOut(StrictSchema):
    """The model of an instrument, in brief."""

    id = Id()
    maker = Text()
    name = Text()
    kind = Choice(Kind)
    strings = Whole()
    frets = Whole()


class InstrumentOut(StrictSchema):
    """An instrument: an instance of a model, with what is its own."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    model_id = Id()
    model = Nested(InstrumentModelBriefOut)
    owner_id = Id()
    serial = Text(allow_none=True)
    nickname = Text(allow_none=True)
    made_in = Whole(allow_none=True)
    handedness = Choice(Handedness)
    string_set_id = Id(allow_none=True)
    tuning_id = Id(allow_none=True)
    strings_fitted_on = Day(allow_none=True)
    named_consents = Truth()
    truss_rod = Nested(RodLeftOut)
    bridge = Nested(BridgeLeftOut)
    parts = ListOf(Nested(WoodPartOut))
    home = Nested(HomeOut, allow_none=True)
    notes = Text(max=4000, allow_none=True)
    typed = MapOf(AsTyped())


class InstrumentQuery(PageQuery):
    """Which instruments to list."""

    owner_id = Id()
    model_id = Id()
    serial = Text(max=100)
