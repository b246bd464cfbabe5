"""Schemas of string sets and tunings."""

from __future__ import annotations

from typing import Any

from shimstock_server.database.words import BuiltFor, Kind
from shimstock_server.web.fields import (
    Choice,
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
from shimstock_server.web.quantities import QuantityIn, QuantityOut
from shimstock_server.web.typed import AsTyped, without_defaults

from .strings import STRING_MATERIALS, WRAP_MATERIALS

# Plausible ranges (judgement).
GAUGE = {"min": 0.15, "max": 3.6}
MOST_STRINGS = 14


class StringIn(StrictSchema):
    """One string of a set."""

    number = Whole(1, MOST_STRINGS, required=True)
    gauge = QuantityIn("gauge", **GAUGE, required=True)
    wound = Truth(load_default=False)
    material = Choice(STRING_MATERIALS, load_default="steel")
    core = QuantityIn("gauge", min=0.05, max=2.0, load_default=None, allow_none=True)
    core_shape = Choice(("round", "hex"), load_default=None, allow_none=True)
    wrap = QuantityIn("gauge", min=0.03, max=1.5, load_default=None, allow_none=True)
    wrap_material = Choice(WRAP_MATERIALS, load_default=None, allow_none=True)
    linear_density = QuantityIn("linear-density", min=0.05, max=60.0, load_default=None, allow_none=True)
    note = Text(max=200, load_default=None, allow_none=True)


class StringOut(StrictSchema):
    """One string of a set, with what it weighs and how that is known."""

    number = Whole()
    gauge = QuantityOut("gauge")
    wound = Truth()
    material = Choice(STRING_MATERIALS)
    core = QuantityOut("gauge", allow_none=True)
    core_shape = Choice(("round", "hex"), allow_none=True)
    wrap = QuantityOut("gauge", allow_none=True)
    wrap_material = Choice(WRAP_MATERIALS, allow_none=True)
    linear_density = QuantityOut("linear-density", allow_none=True)
    linear_density_source = Choice(("stated", "computed", "unknown"))
    note = Text(allow_none=True)
    typed = MapOf(AsTyped())


class StringSetIn(StrictSchema):
    """A set of strings to add to the catalogue."""

    name = Text(max=200, required=True)
    built_for = Choice(BuiltFor, load_default=BuiltFor.STEEL)
    kinds = ListOf(
        Choice(Kind),
        load_default=list,
        unique=True,
        metadata={"description": "The kinds of instrument that it is meant for; empty for any."},
    )
    strings = ListOf(Nested(StringIn), min=3, max=MOST_STRINGS, required=True)


StringSetChange: Any = without_defaults(StringSetIn, "StringSetChange", "A change of a string set.")


class StringSetOut(StrictSchema):
    """A set of strings."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    built_for = Choice(BuiltFor)
    kinds = ListOf(Choice(Kind))
    strings = ListOf(Nested(StringOut))


class TuningIn(StrictSchema):
    """Notes from string 1 on, and the reference pitch."""

    name = Text(max=200, required=True)
    notes = ListOf(Text(max=6), min=3, max=MOST_STRINGS, required=True)
    reference_pitch = QuantityIn("pitch", min=380.0, max=480.0, load_default=None)


TuningChange: Any = without_defaults(TuningIn, "TuningChange", "A change of a tuning.")


class TuningOut(StrictSchema):
    """A tuning."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    notes = ListOf(Text())
    frequencies = ListOf(QuantityOut("pitch"))
    reference_pitch = QuantityOut("pitch")
