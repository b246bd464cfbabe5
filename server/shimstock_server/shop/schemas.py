"""Schemas of the shop, its closures, technicians, benches and tools."""

from __future__ import annotations

from functools import cache
from typing import Any
from zoneinfo import available_timezones

from marshmallow import ValidationError

from shimstock_calc.plan.model import Prices
from shimstock_server.database.words import Quantity, Skill, Units
from shimstock_server.web.fields import (
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    MapOf,
    Nested,
    Number,
    StrictField,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.quantities import KINDS, QuantityIn, QuantityOut, read_quantity
from shimstock_server.web.typed import AsTyped, without_defaults

from .people import OTHER_QUANTITIES, SIZES
from .prices import GROUPS, LEAST_SAMPLES, LEAST_WORK

_WEEKDAY = {"description": "Monday is 1, Sunday is 7 (ISO 8601)."}
MEASURED = (*(str(quantity) for quantity in Quantity), *OTHER_QUANTITIES)


class WallTime(Text):
    """A time of day as the shop's clocks show it; 24:00 only ends a day."""

    def __init__(self, *, ends: bool = False, **kwargs: Any) -> None:
        hours = r"([01]\d|2[0-3]):[0-5]\d"
        super().__init__(
            max=5,
            min=5,
            pattern=f"({hours}|24:00)" if ends else hours,
            pattern_hint="must be a time of day such as 09:00",
            **kwargs,
        )


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


class Zone(Text):
    """A time zone of the IANA database."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        name = super()._deserialize(value, attr, data, **kwargs)
        if name not in _zones():
            raise ValidationError("must be a time zone of the IANA database, such as Europe/Berlin")
        return name


class ToolSizeIn(StrictField):
    """A tool's resolution or repeatability: a length, cents or percent.

    Parameters
    ----------
    signed : bool
        Whether it may lie below zero or be zero, as an offset may.
    """

    def __init__(self, *, signed: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.signed = signed

    def _deserialize(self, value: Any, attr: str | None, data: Any, **_: Any) -> Any:  # noqa: ARG002
        unit = value.get("unit") if isinstance(value, dict) else None
        fitting = [kind for kind in SIZES if unit in [str(each) for each in KINDS[kind].accepted]]
        if isinstance(value, dict) and "unit" in value and not fitting:
            raise ValidationError({"unit": [f"must be one of {', '.join(self.units())}"]})
        size = read_quantity(value, KINDS[fitting[0] if fitting else SIZES[0]])
        if size.value <= 0 and not self.signed:
            raise ValidationError({"value": ["must be above 0"]})
        return size

    @staticmethod
    def units() -> list[str]:
        """Return the units that fit."""
        return [str(unit) for kind in SIZES for unit in KINDS[kind].accepted]

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"$ref": "#/components/schemas/Quantity", "properties": {"unit": {"enum": self.units()}}}


class OpeningIn(StrictSchema):
    """One opening of a weekday."""

    weekday = Whole(1, 7, required=True, metadata=_WEEKDAY)
    opens = WallTime(required=True)
    closes = WallTime(ends=True, required=True)


class OpeningOut(StrictSchema):
    """One opening of a weekday."""

    weekday = Whole(metadata=_WEEKDAY)
    opens = Text()
    closes = Text()


def _minutes(least: float = 0.0, description: str | None = None) -> Number:
    told = {} if description is None else {"metadata": {"description": description}}
    return Number(least, 1000.0, allow_none=True, **told)


ReadingMinutes: Any = type(
    "ReadingMinutes",
    (StrictSchema,),
    {quantity: _minutes(LEAST_WORK) for quantity in Prices().reading}
    | {"__doc__": "What a reading of each quantity takes on a side or a string, in bench minutes."},
)
AdjustmentMinutes: Any = type(
    "AdjustmentMinutes",
    (StrictSchema,),
    {part: _minutes(LEAST_WORK) for part in Prices().adjustment}
    | {"__doc__": "What an adjustment of each part takes, in bench minutes."},
)


class ShopPrices(StrictSchema):
    """What the plans reckon with, in bench minutes; null takes a figure back to what is learned or usual."""

    wrong = Number(
        1.0,
        100_000.0,
        allow_none=True,
        metadata={
            "description": "What an instrument costs that goes out wrong: the higher, the more is read "
            "before it goes."
        },
    )
    prompt = _minutes(description="What it takes to look up the next step.")
    visit = _minutes(description="What it takes to come back to the bench after a rest.")
    retune = _minutes(description="Tuning after an adjustment that detunes.")
    retune_floating = _minutes(description="The same on a tremolo that floats.")
    reading = Nested(ReadingMinutes)
    adjustment = Nested(AdjustmentMinutes)


class MinutesOut(StrictSchema):
    """What a reading or an adjustment takes, and where that is known from."""

    of = Choice(GROUPS)
    name = Text()
    minutes = Number(metadata={"description": "What plans of new jobs reckon with [bench minutes]."})
    source = Choice(
        ("own", "learned", "usual"),
        metadata={"description": "Where they come from: set by the shop, else learned, else usual."},
    )
    usual = Number(metadata={"description": "Without any job of this shop; judgement."})
    learned = Number(
        allow_none=True,
        metadata={
            "description": "Median of what the newest closed jobs took: the time since the entry before, or "
            "the minutes said of an adjustment, less the tuning after it."
        },
    )
    count = Whole(
        metadata={
            "description": "Readings or adjustments that the median is of; it is reckoned with from "
            f"{LEAST_SAMPLES} on."
        }
    )
    own = Number(allow_none=True, metadata={"description": "What the shop has set instead; null = nothing."})


class ShopIn(StrictSchema):
    """The shop's settings."""

    name = Text(max=200, required=True)
    place = Text(max=200, load_default=None, allow_none=True)
    contact = Text(
        max=500,
        multiline=True,
        load_default=None,
        allow_none=True,
        metadata={
            "description": "How owners reach the shop: telephone, e-mail, street. It stands on their page."
        },
    )
    zone = Zone(max=64, required=True)
    units = Choice(Units, load_default=Units.MM)
    currency = Text(
        max=3,
        min=3,
        pattern="[A-Z]{3}",
        pattern_hint="must be a code of ISO 4217 such as EUR",
        load_default="EUR",
    )
    language = Text(
        max=35,
        pattern=r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*",
        pattern_hint="must be a language tag such as en or de-AT",
        load_default="en",
    )
    settle_first_minutes = Whole(
        10,
        1440,
        load_default=120,
        metadata={
            "description": "How long a neck rests after the last turn of its rod or change of strings; less "
            "than 60 counts as 60."
        },
    )
    claims_per_technician = Whole(1, 50, load_default=3)
    recheck_probability = Number(0.01, 0.99, load_default=0.25)
    string_hours = Number(1.0, 5000.0, load_default=100.0)
    string_days = Whole(1, 3650, load_default=90)
    shop_rate = Number(0.0, 100000.0, load_default=None, allow_none=True)
    humidity_low = QuantityIn(
        "relative-humidity",
        min=5.0,
        max=98.0,
        load_default=lambda: read_quantity({"value": 35, "unit": "percent"}, KINDS["relative-humidity"]),
    )
    humidity_high = QuantityIn(
        "relative-humidity",
        min=5.0,
        max=98.0,
        load_default=lambda: read_quantity({"value": 60, "unit": "percent"}, KINDS["relative-humidity"]),
    )
    everything_at_the_end = Truth(
        load_default=False,
        metadata={
            "description": "true: the final check reads every quantity once more. false: only what moved "
            "since it was read; what still stands is not read again."
        },
    )
    prices = Nested(ShopPrices, load_default=dict)
    opening_hours = ListOf(Nested(OpeningIn), max=50, load_default=list)


ShopChange: Any = without_defaults(ShopIn, "ShopChange", "A change of the shop's settings.")


class ShopOut(StrictSchema):
    """The shop's settings."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    place = Text(allow_none=True)
    contact = Text(max=500, allow_none=True)
    zone = Text()
    units = Choice(Units)
    currency = Text()
    language = Text()
    settle_first_minutes = Whole()
    claims_per_technician = Whole()
    recheck_probability = Number()
    string_hours = Number()
    string_days = Whole()
    shop_rate = Number(allow_none=True)
    humidity_low = QuantityOut("relative-humidity")
    humidity_high = QuantityOut("relative-humidity")
    everything_at_the_end = Truth()
    prices = Nested(ShopPrices)
    minutes = ListOf(Nested(MinutesOut))
    opening_hours = ListOf(Nested(OpeningOut))


class ClosureIn(StrictSchema):
    """A dated exception: closed all day, or open at other hours."""

    day = Day(required=True)
    reason = Text(max=200, load_default=None, allow_none=True)
    opens = WallTime(load_default=None, allow_none=True)
    closes = WallTime(ends=True, load_default=None, allow_none=True)


class ClosureOut(StrictSchema):
    """A dated exception."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    day = Day()
    reason = Text(allow_none=True)
    opens = Text(allow_none=True)
    closes = Text(allow_none=True)


class NewClosureOut(ClosureOut):
    """A dated exception that was just added, and the bookings that stand before a closed door."""

    bookings = ListOf(
        Id(),
        metadata={
            "description": "Bookings of that day at a time when the shop is shut now: they stay booked. Move "
            "them, or tell their owners."
        },
    )


class ShiftIn(StrictSchema):
    """When a technician works, week by week."""

    weekday = Whole(1, 7, required=True, metadata=_WEEKDAY)
    starts = WallTime(required=True)
    ends = WallTime(ends=True, required=True)


class ShiftOut(StrictSchema):
    """When a technician works, week by week."""

    weekday = Whole(metadata=_WEEKDAY)
    starts = Text()
    ends = Text()


class TechnicianIn(StrictSchema):
    """A technician."""

    name = Text(max=200, required=True)
    active = Truth(load_default=True)
    skills = ListOf(Choice(Skill), load_default=list, unique=True)
    shifts = ListOf(Nested(ShiftIn), max=50, load_default=list)


TechnicianChange: Any = without_defaults(TechnicianIn, "TechnicianChange", "A change of a technician.")


class TechnicianOut(StrictSchema):
    """A technician."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    active = Truth()
    skills = ListOf(Choice(Skill))
    shifts = ListOf(Nested(ShiftOut))


class BenchIn(StrictSchema):
    """A bench; without skills it is equipped for anything."""

    name = Text(max=200, required=True)
    active = Truth(load_default=True)
    skills = ListOf(Choice(Skill), load_default=list, unique=True)


BenchChange: Any = without_defaults(BenchIn, "BenchChange", "A change of a bench.")


class BenchOut(StrictSchema):
    """A bench."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    active = Truth()
    skills = ListOf(Choice(Skill))


class ToolIn(StrictSchema):
    """A measuring tool: its resolution, and how well its readings repeat where that is known."""

    name = Text(max=200, required=True)
    quantities = ListOf(Choice(MEASURED), load_default=list, unique=True)
    resolution = ToolSizeIn(required=True)
    repeatability = ToolSizeIn(load_default=None, allow_none=True)
    bench_id = Id(load_default=None, allow_none=True)
    checked_at = Instant(load_default=None, allow_none=True)
    active = Truth(load_default=True)


ToolChange: Any = without_defaults(ToolIn, "ToolChange", "A change of a tool.")


class ToolOut(StrictSchema):
    """A measuring tool."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    quantities = ListOf(Choice(MEASURED))
    resolution = QuantityOut(kind_from="kind")
    repeatability = QuantityOut(kind_from="kind", allow_none=True)
    typed = MapOf(AsTyped())
    bench_id = Id(allow_none=True)
    checked_at = Instant(allow_none=True)
    active = Truth()


class ActiveQuery(PageQuery):
    """Whether to list those in use, or those that are not; both without it."""

    active = Truth()


class ClosureQuery(PageQuery):
    """From which day to which; both included."""

    first = Day()
    last = Day()
