"""Schemas of setup specs: as stored at one place, and as they apply to an instrument or a job."""

from __future__ import annotations

from shimstock_server.database.words import Kind, Quantity, Side, SpecScope
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
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.quantities import QuantityOut
from shimstock_server.web.typed import AsTyped, QuantityBeside

from .model_schemas import MOST_FRETS
from .schemas import MOST_STRINGS


class SpecItemIn(StrictSchema):
    """Target and limits of one quantity; without side, string or pickup it holds for all of them.

    `held` names the frets at which the string is held: two for relief, one for pickup height. Left out, it is
    the first and the last for relief, and the last for pickup height.
    """

    quantity = Choice(Quantity, required=True)
    side = Choice(Side, load_default=None, allow_none=True)
    string = Whole(1, MOST_STRINGS, load_default=None, allow_none=True)
    pickup = Text(max=100, load_default=None, allow_none=True)
    target = QuantityBeside("quantity", required=True)
    lower = QuantityBeside("quantity", load_default=None, allow_none=True)
    upper = QuantityBeside("quantity", load_default=None, allow_none=True)
    held = ListOf(Whole(1, MOST_FRETS), max=2, load_default=list)
    fret = Whole(1, MOST_FRETS, load_default=None, allow_none=True)


class SetupSpecIn(StrictSchema):
    """A new version of a setup spec; it replaces the items of the one before."""

    reason = Text(max=1000, load_default=None, allow_none=True)
    items = ListOf(Nested(SpecItemIn), max=200, required=True)


class SpecItemOut(StrictSchema):
    """Target and limits of one quantity."""

    quantity = Choice(Quantity)
    side = Choice(Side, allow_none=True)
    string = Whole(allow_none=True)
    pickup = Text(allow_none=True)
    target = QuantityOut(kind_from="quantity")
    lower = QuantityOut(kind_from="quantity", allow_none=True)
    upper = QuantityOut(kind_from="quantity", allow_none=True)
    held = ListOf(Whole())
    fret = Whole(allow_none=True)
    typed = MapOf(AsTyped())


class SetupSpecOut(StrictSchema):
    """One version of a setup spec, as stored at its place; `version` is its number there."""

    id = Id()
    version = Whole()
    created_at = Instant()
    scope = Choice(SpecScope)
    kind = Choice(Kind, allow_none=True)
    model_id = Id(allow_none=True)
    instrument_id = Id(allow_none=True)
    job_id = Id(allow_none=True)
    number = Whole()
    current = Truth()
    reason = Text(max=1000, allow_none=True)
    items = ListOf(Nested(SpecItemOut))


class SpecOriginOut(StrictSchema):
    """Where an item comes from: the scope, the stored spec and its number there."""

    scope = Choice(SpecScope)
    spec_id = Id()
    number = Whole()


class ResolvedItemOut(SpecItemOut):
    """An item that applies, with where it comes from."""

    origin = Nested(SpecOriginOut, data_key="from")
    own = Truth()


class ResolvedSpecOut(StrictSchema):
    """The spec that applies, quantity by quantity; `own` marks what stands at this place itself."""

    scope = Choice(SpecScope)
    kind = Choice(Kind)
    model_id = Id(allow_none=True)
    instrument_id = Id(allow_none=True)
    job_id = Id(allow_none=True)
    own_id = Id(allow_none=True)
    number = Whole()
    items = ListOf(Nested(ResolvedItemOut))


class SpecQuery(PageQuery):
    """Which specs to list."""

    scope = Choice(SpecScope)
    kind = Choice(Kind)
