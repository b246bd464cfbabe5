"""A plan that is asked for with everything that it depends on: what the request says."""

from __future__ import annotations

from shimstock_server.catalogue import PlanInstrumentIn, SpecItemIn
from shimstock_server.database.words import ConsentKind, Part, Position, Side
from shimstock_server.jobs import RoomIn, WantsIn
from shimstock_server.shop import ShopPrices, ToolSizeIn
from shimstock_server.web.fields import (
    Choice,
    Id,
    Instant,
    ListOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.quantities import QuantityIn

from .schemas import FindingIn, ReadingIn


class ConsentSaidIn(StrictSchema):
    """What the owner said, for a plan that stores nothing."""

    covers = Choice(ConsentKind, required=True)
    given = Truth(required=True)


class RodResponseIn(StrictSchema):
    """Change of relief per turn of tightening, below zero, and its standard uncertainty."""

    mean = QuantityIn("rod-response", required=True, min=-2.0, max=-0.01)
    sd = QuantityIn("rod-response", required=True, min=0.0, max=2.0)


class ToolSaidIn(StrictSchema):
    """A measuring tool that stands in the request."""

    name = Text(max=200, required=True)
    resolution = ToolSizeIn(required=True)
    repeatability = ToolSizeIn(load_default=None, allow_none=True)
    bench = Text(
        max=200,
        load_default=None,
        allow_none=True,
        metadata={"description": "The bench that it stands at, for what is said of its offset."},
    )
    offset = ToolSizeIn(
        signed=True,
        load_default=None,
        allow_none=True,
        metadata={"description": "By how much it reads too high there; it is taken off. Left out: 0."},
    )
    offset_uncertainty = ToolSizeIn(
        load_default=None,
        allow_none=True,
        metadata={"description": "Standard uncertainty of that offset. Left out: 0."},
    )
    reproducibility = ToolSizeIn(
        load_default=None,
        allow_none=True,
        metadata={
            "description": "How far benches differ beyond it, one number for all readings: standard "
            "deviation. Left out: 0."
        },
    )


_TOOL = {"description": "Name of one of the request's `tools`; instead of a `tool_id`."}


class ReadingSaidIn(ReadingIn):
    """One reading; its tool is one of the shop's, or one that the request describes."""

    tool = Text(max=200, load_default=None, allow_none=True, metadata=_TOOL)


class SheetSaidIn(StrictSchema):
    """Readings taken at one time, in one condition."""

    id = Id(
        load_default=None,
        allow_none=True,
        metadata={"description": "Stands beside each verdict that rests on it."},
    )
    taken_at = Instant(required=True)
    position = Choice(Position, load_default=Position.PLAYING)
    at_pitch = Truth(load_default=True)
    acclimatised = Truth(load_default=True)
    room = Nested(RoomIn, load_default=None, allow_none=True)
    tool_id = Id(load_default=None, allow_none=True)
    tool = Text(max=200, load_default=None, allow_none=True, metadata=_TOOL)
    readings = ListOf(Nested(ReadingSaidIn), max=500, load_default=list)
    findings = ListOf(Nested(FindingIn), max=100, load_default=list)


class AdjustmentSaidIn(StrictSchema):
    """What was done. Signs as for the adjustments of a job."""

    id = Id(load_default=None, allow_none=True)
    done_at = Instant(required=True)
    part = Choice(Part, required=True)
    side = Choice(Side, load_default=None, allow_none=True)
    string = Whole(load_default=None, allow_none=True)
    pickup = Text(max=100, load_default=None, allow_none=True)
    turns = QuantityIn("turns", min=-50.0, max=50.0, load_default=None, allow_none=True)
    amount = QuantityIn("distance", min=-20.0, max=20.0, load_default=None, allow_none=True)
    confirmed = Truth(load_default=False)


class SettingsSaidIn(StrictSchema):
    """What the plan reckons with; what is left out is as in the shop's settings."""

    settle_first_minutes = Whole(10, 1440)
    humidity_low = QuantityIn("relative-humidity", min=5.0, max=98.0)
    humidity_high = QuantityIn("relative-humidity", min=5.0, max=98.0)
    everything_at_the_end = Truth()
    prices = Nested(ShopPrices)


class RecommendationIn(StrictSchema):
    """An instrument, its spec, what was read and what was done: a plan is made and nothing stored."""

    instrument = Nested(PlanInstrumentIn, required=True)
    spec = ListOf(
        Nested(SpecItemIn),
        max=200,
        load_default=None,
        allow_none=True,
        metadata={"description": "Left out: the spec that applies to the model or instrument named."},
    )
    taken_at = Instant(
        load_default=None,
        allow_none=True,
        metadata={"description": "When `readings` were taken; now when it is left out."},
    )
    position = Choice(Position, load_default=Position.PLAYING)
    at_pitch = Truth(load_default=True)
    acclimatised = Truth(load_default=True)
    room = Nested(RoomIn, load_default=None, allow_none=True)
    tool_id = Id(load_default=None, allow_none=True)
    tool = Text(max=200, load_default=None, allow_none=True, metadata=_TOOL)
    readings = ListOf(Nested(ReadingSaidIn), max=500, load_default=list)
    findings = ListOf(Nested(FindingIn), max=100, load_default=list)
    looked_over = Truth(
        load_default=True,
        metadata={"description": "false: the plan begins with the look over."},
    )
    sheets = ListOf(
        Nested(SheetSaidIn),
        max=200,
        load_default=list,
        metadata={"description": "Other readings of the same job, in any order; their times count."},
    )
    adjustments = ListOf(
        Nested(AdjustmentSaidIn),
        max=500,
        load_default=list,
        metadata={"description": "What was done between them; the instrument is as it is strung now."},
    )
    tools = ListOf(Nested(ToolSaidIn), max=50, load_default=list)
    wants = Nested(WantsIn, load_default=dict)
    consents = ListOf(Nested(ConsentSaidIn), max=20, load_default=list)
    rod_response = Nested(RodResponseIn, load_default=None, allow_none=True)
    coupling_sd = Number(
        0.0,
        2.0,
        load_default=None,
        allow_none=True,
        metadata={"description": "How unsure the rise of action per relief is. Left out: as learned."},
    )
    neck_compliance = QuantityIn("compliance", min=1e-5, max=0.1, load_default=None, allow_none=True)
    settings = Nested(SettingsSaidIn, load_default=dict)
