"""Schemas of climates, rooms, hygrometers and their readings."""

from __future__ import annotations

from typing import Any

from shimstock_server.database.words import ClimateOrigin, RoomUse
from shimstock_server.web.fields import (
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    MapOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.quantities import Quantity, QuantityIn, QuantityOut, Unit
from shimstock_server.web.typed import AsTyped, without_defaults

from .climates import MEASURES
from .hygrometers import SALTS

_NONE: dict[str, Any] = {"load_default": None, "allow_none": True}


class MonthIn(StrictSchema):
    """Outdoor means of a month; exactly one of the three measures of damp, the same for all months."""

    month = Whole(1, 12, required=True)
    temperature = QuantityIn("temperature", required=True)
    relative_humidity = QuantityIn("relative-humidity", **_NONE)
    dew_point = QuantityIn("temperature", **_NONE)
    vapour_pressure = QuantityIn("pressure", **_NONE)


class ClimateIn(StrictSchema):
    """Monthly outdoor normals of a place."""

    name = Text(max=200, required=True)
    place = Text(max=200, **_NONE)
    source = Text(max=1000, required=True)
    months = ListOf(Nested(MonthIn), max=24, required=True)


ClimateChange: Any = without_defaults(ClimateIn, "ClimateChange", "A change of a climate.")


class MonthOut(StrictSchema):
    """Outdoor means of a month."""

    month = Whole()
    temperature = QuantityOut("temperature")
    vapour_pressure = QuantityOut("pressure")
    dew_point = QuantityOut("temperature")
    relative_humidity = QuantityOut("relative-humidity")


class ClimateOut(StrictSchema):
    """Monthly outdoor normals of a place, with where they come from."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    place = Text(allow_none=True)
    source = Text(max=1000)
    origin = Choice(ClimateOrigin)
    measure = Choice(MEASURES, allow_none=True)
    months = ListOf(Nested(MonthOut))
    latitude = Number(allow_none=True)
    longitude = Number(allow_none=True)
    hours_used = Whole(allow_none=True)
    hours_left_out = Whole(allow_none=True)
    days_used = ListOf(Whole())


class ClimateFileQuery(StrictSchema):
    """What a table of months does not say itself."""

    name = Text(max=200, required=True)
    place = Text(max=200)
    source = Text(max=1000, required=True)


class TypicalYearQuery(StrictSchema):
    """What to call a typical year; left out, its own LOCATION line says."""

    name = Text(max=200)
    place = Text(max=200)
    source = Text(max=1000)


class ProfileIn(StrictSchema):
    """How a room is kept; what is left out is as usual for its use."""

    moisture_excess = QuantityIn("vapour-density", min=0.0, max=15.0, **_NONE)
    heating_set_point = QuantityIn("temperature", min=5.0, max=30.0, **_NONE)
    cooled = Truth(**_NONE)
    cooling_set_point = QuantityIn("temperature", min=15.0, max=35.0, **_NONE)
    cooling_dew_point = QuantityIn("temperature", min=0.0, max=25.0, **_NONE)
    humidifier_set_point = QuantityIn("relative-humidity", min=5.0, max=95.0, **_NONE)
    dehumidifier_set_point = QuantityIn("relative-humidity", min=5.0, max=95.0, **_NONE)


class ProfileOut(StrictSchema):
    """How a room is kept, with what is usual filled in."""

    moisture_excess = QuantityOut("vapour-density")
    heating_set_point = QuantityOut("temperature")
    cooled = Truth()
    cooling_set_point = QuantityOut("temperature")
    cooling_dew_point = QuantityOut("temperature")
    humidifier_set_point = QuantityOut("relative-humidity", allow_none=True)
    dehumidifier_set_point = QuantityOut("relative-humidity", allow_none=True)
    typed = MapOf(AsTyped())


class SeasonSettingsIn(StrictSchema):
    """How the shop forecasts: its own climate, how its rooms and homes are usually kept, when to look."""

    climate_id = Id(**_NONE)
    shop = Nested(ProfileIn, load_default=dict)
    home = Nested(ProfileIn, load_default=dict)
    earliest_days = Whole(0, 365, load_default=14)
    moisture_limit = QuantityIn(
        "moisture", min=0.1, max=20.0, load_default=Quantity(2.0, 2.0, Unit.PERCENT),
        metadata={"description": "How far the wood may move before a look is due whatever the spec says."},
    )  # fmt: skip


class SeasonSettingsOut(StrictSchema):
    """How the shop forecasts; version 0 is what is usual before anybody said."""

    version = Whole()
    updated_at = Instant(allow_none=True)
    climate_id = Id(allow_none=True)
    shop = Nested(ProfileOut)
    home = Nested(ProfileOut)
    earliest_days = Whole()
    moisture_limit = QuantityOut("moisture")


class KeptRoomIn(StrictSchema):
    """A room that instruments live in; without a climate of its own it has the shop's."""

    name = Text(max=200, required=True)
    use = Choice(RoomUse, required=True)
    climate_id = Id(**_NONE)
    profile = Nested(ProfileIn, **_NONE)
    note = Text(max=1000, **_NONE)


KeptRoomChange: Any = without_defaults(
    KeptRoomIn, "KeptRoomChange", "A change of a room; its profile is replaced whole."
)


class KeptRoomOut(StrictSchema):
    """A room that instruments live in."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    use = Choice(RoomUse)
    climate_id = Id(allow_none=True)
    profile = Nested(ProfileOut)
    note = Text(max=1000, allow_none=True)


class RoomNewestOut(StrictSchema):
    """The newest reading of a room."""

    taken_at = Instant()
    temperature = QuantityOut("temperature")
    relative_humidity = QuantityOut("relative-humidity")
    uncertainty = QuantityOut("relative-humidity")


class RoomRemarkOut(StrictSchema):
    """What is wrong with a room's air."""

    code = Choice(("too-dry", "too-damp", "laminates-may-split", "mould", "swing"))
    since = Instant(allow_none=True)
    value = QuantityOut("relative-humidity")
    text = Text(max=1000)


class RoomAirNowOut(StrictSchema):
    """A room's air now, and what it means for the instruments in it."""

    room_id = Id()
    newest = Nested(RoomNewestOut, allow_none=True)
    fit_for_verdicts = Truth(
        metadata={"description": "Whether the last two days let frets and action be judged here."}
    )
    warnings = ListOf(Nested(RoomRemarkOut))
    instruments = ListOf(Id())


class RoomAlertOut(StrictSchema):
    """A warning for a room, from when to when."""

    id = Id()
    room_id = Id()
    code = Choice(("too-dry", "too-damp", "laminates-may-split", "mould", "swing"))
    since = Instant()
    ended_at = Instant(allow_none=True)
    value = QuantityOut("relative-humidity")
    text = Text(max=1000)
    instruments = ListOf(Id())


class RoomAlertQuery(PageQuery):
    """Which warnings to list."""

    room_id = Id()
    lasting = Truth()


class HygrometerIn(StrictSchema):
    """A hygrometer and the room it hangs in."""

    name = Text(max=200, required=True)
    room_id = Id(**_NONE)
    active = Truth(load_default=True)
    note = Text(max=1000, **_NONE)


HygrometerChange: Any = without_defaults(HygrometerIn, "HygrometerChange", "A change of a hygrometer.")


class HygrometerOut(StrictSchema):
    """A hygrometer and the room it hangs in."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    room_id = Id(allow_none=True)
    active = Truth()
    note = Text(max=1000, allow_none=True)


class SaltCheckIn(StrictSchema):
    """What a hygrometer showed over two saturated salts, at rest."""

    checked_at = Instant(required=True)
    temperature = QuantityIn("temperature", required=True, min=0.0, max=50.0)
    low_salt = Choice(SALTS, load_default="MgCl2")
    low_reading = QuantityIn("relative-humidity", required=True, min=0.0, max=100.0)
    high_salt = Choice(SALTS, load_default="NaCl")
    high_reading = QuantityIn("relative-humidity", required=True, min=0.0, max=100.0)


class SaltCheckOut(StrictSchema):
    """A check over two salts: corrected = gain · shown + offset from then on."""

    id = Id()
    created_at = Instant()
    hygrometer_id = Id()
    checked_at = Instant()
    temperature = QuantityOut("temperature")
    low_salt = Choice(SALTS)
    low_reading = QuantityOut("relative-humidity")
    high_salt = Choice(SALTS)
    high_reading = QuantityOut("relative-humidity")
    gain = Number()
    offset = QuantityOut("relative-humidity")
    uncertainty = QuantityOut("relative-humidity")
    meaning = Text(max=1000)
    technician_id = Id(allow_none=True)


class RoomReadingIn(StrictSchema):
    """A reading of a room's air; its id is the client's."""

    id = Id(required=True)
    room_id = Id(required=True)
    hygrometer_id = Id(**_NONE)
    taken_at = Instant(required=True)
    temperature = QuantityIn("temperature", required=True)
    relative_humidity = QuantityIn("relative-humidity", required=True)
    confirmed = Truth(load_default=False)
    confirm_clock = Truth(load_default=False)
    note = Text(max=1000, **_NONE)


class BatchReadingIn(StrictSchema):
    """One reading of a batch."""

    id = Id(required=True)
    taken_at = Instant(required=True)
    temperature = QuantityIn("temperature", required=True)
    relative_humidity = QuantityIn("relative-humidity", required=True)
    confirmed = Truth(load_default=False)
    confirm_clock = Truth(load_default=False)
    note = Text(max=1000, **_NONE)


class RoomReadingBatchIn(StrictSchema):
    """Readings of one room by one hygrometer, in any order; all or nothing."""

    room_id = Id(required=True)
    hygrometer_id = Id(**_NONE)
    readings = ListOf(Nested(BatchReadingIn), min=1, required=True)


class RoomReadingTypedOut(StrictSchema):
    """A reading as it was typed."""

    temperature = AsTyped()
    relative_humidity = AsTyped()


class RoomReadingOut(StrictSchema):
    """A reading of a room's air: as shown, and with the correction of the salt check that held then."""

    id = Id()
    room_id = Id()
    hygrometer_id = Id(allow_none=True)
    taken_at = Instant()
    received_at = Instant()
    day = Day()
    temperature = QuantityOut("temperature")
    shown = QuantityOut("relative-humidity")
    relative_humidity = QuantityOut("relative-humidity")
    uncertainty = QuantityOut("relative-humidity")
    check_id = Id(allow_none=True)
    confirmed = Truth()
    clock_confirmed = Truth()
    typed = Nested(RoomReadingTypedOut)
    note = Text(max=1000, allow_none=True)


class KnownReadingOut(StrictSchema):
    """A reading that is there already, and the one that it is kept as."""

    at = Text(metadata={"description": "Where it stands in what was sent: `/readings/3` or `/lines/17`."})
    id = Id()
    kept_as = Id()


class LogGapOut(StrictSchema):
    """A pause in what was sent that is much longer than usual."""

    begins = Instant()
    ends = Instant()
    hours = Number()


class RoomLogOut(StrictSchema):
    """What became of every reading that was sent: nothing is dropped without a word."""

    room_id = Id()
    sent = Whole()
    stored = Whole()
    known = ListOf(Nested(KnownReadingOut), max=100_000)
    reordered = Whole(metadata={"description": "How often a reading was older than the one before it."})
    gaps = ListOf(Nested(LogGapOut))
    first = Instant()
    last = Instant()


class LogFileQuery(StrictSchema):
    """What a log's file does not say itself."""

    room_id = Id(required=True)
    hygrometer_id = Id()
    zone = Text(
        max=64,
        metadata={"description": "Of times without an offset (IANA); the shop's by default."},
    )
    shift_minutes = Whole(
        -21_000_000, 21_000_000,
        metadata={"description": "Added to every time, for a logger whose clock was wrong."},
    )  # fmt: skip
    confirmed = Truth(load_default=False)
    confirm_clock = Truth(load_default=False)


class RoomReadingQuery(PageQuery):
    """Which readings to list."""

    room_id = Id()
    hygrometer_id = Id()
    since = Instant()
    until = Instant()
