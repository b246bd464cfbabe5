"""Schemas of services, free slots and bookings."""

from __future__ import annotations

from typing import Any, ClassVar

from shimstock_server.database.words import BookingState, Handedness, JobState, Kind, Skill, Units, WaitingFor
from shimstock_server.jobs import ConsentIn, RoomIn
from shimstock_server.owners import OwnerIn
from shimstock_server.web.fields import (
    Choice,
    Day,
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
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.typed import without_defaults

LONGEST_LOOK = 62
"""Days of one answer of the availability."""


def _about(text: str, **more: Any) -> dict[str, Any]:
    return {"metadata": {"description": text}, **more}


class ServiceIn(StrictSchema):
    """Something that the shop does for an owner, and the rules under which it is booked."""

    name = Text(max=200, required=True)
    description = Text(max=2000, multiline=True, load_default=None, allow_none=True)
    kinds = ListOf(
        Choice(Kind), unique=True, load_default=list, **_about("What it is for; empty for any kind.")
    )
    skills = ListOf(
        Choice(Skill), unique=True, load_default=list, **_about("What a technician must be able to do.")
    )
    bench_minutes = Whole(5, 1440, required=True, **_about("Set aside of one technician's day [min]."))
    price = Number(0, 1e7, load_default=None, allow_none=True, **_about("In the shop's currency."))
    price_from = Truth(load_default=False, **_about("Whether the price is where it starts."))
    lead_days = Whole(
        0, 365, load_default=2, **_about("Opening days from drop-off to the promised day [day].")
    )
    notice_minutes = Whole(
        0, 43200, load_default=60, **_about("How long before the slot it must be booked [min].")
    )
    ahead_days = Whole(1, 365, load_default=60, **_about("How far ahead it can be booked [day]."))
    step_minutes = Whole(
        5, 720, load_default=30, **_about("From one drop-off slot of an opening to the next [min].")
    )
    places = Whole(1, 50, load_default=1, **_about("How many instruments are taken in at one slot."))
    places_per_day = Whole(1, 500, load_default=None, allow_none=True, **_about("Null for no such limit."))
    active = Truth(load_default=True, **_about("Whether it can be booked."))


ServiceChange: Any = without_defaults(ServiceIn, "ServiceChange", "A change of a service.")


class ServiceOut(StrictSchema):
    """Something that the shop does for an owner."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    description = Text(max=2000, allow_none=True)
    kinds = ListOf(Choice(Kind), **_about("What it is for; empty for any kind."))
    skills = ListOf(Choice(Skill))
    bench_minutes = Whole(**_about("Time at the bench [min]; the instrument stays until the promised day."))
    price = Number(allow_none=True, **_about("Null when it is told at the counter."))
    price_from = Truth(**_about("Whether the price is where it starts."))
    currency = Text(**_about("A code of ISO 4217."))
    lead_days = Whole(**_about("Opening days from drop-off to the promised day [day]."))
    notice_minutes = Whole(**_about("How long before the slot it must be booked [min]."))
    ahead_days = Whole(**_about("How far ahead it can be booked [day]."))
    step_minutes = Whole(**_about("From one drop-off slot to the next [min]."))
    places = Whole(**_about("How many instruments are taken in at one slot."))
    places_per_day = Whole(allow_none=True, **_about("Null for no such limit."))
    active = Truth(**_about("Whether it can be booked; a website sees no others."))


class ServiceQuery(PageQuery):
    """Which services."""

    active = Truth()


class AvailabilityQuery(StrictSchema):
    """For which service, from which day to which; both included."""

    service_id = Id(required=True)
    first = Day(**_about("Today when left out."))
    last = Day(**_about(f"Two weeks after the first when left out; at most {LONGEST_LOOK} days in all."))


class SlotOut(StrictSchema):
    """A drop-off slot with room in it."""

    at = Instant(**_about("What a booking names."))
    wall = Text(**_about("The same as the shop's clocks show it: YYYY-MM-DDThh:mm."))
    places = Whole(**_about("How many are left."))


class SlotDayOut(StrictSchema):
    """The free slots of a day."""

    day = Day()
    slots = ListOf(Nested(SlotOut))


class AvailabilityOut(StrictSchema):
    """What is free at the moment; only a booking decides."""

    service_id = Id()
    zone = Text()
    first = Day()
    last = Day()
    days = ListOf(Nested(SlotDayOut), **_about("Days on which nothing is free are left out."))


class HoldIn(StrictSchema):
    """A slot to hold."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "service_id": "01a20ffe-1d52-7a40-9bb5-52e8a3c1f001",
        "at": "2026-03-03T08:00:00Z",
    }

    service_id = Id(required=True)
    at = Instant(required=True, **_about("A slot as the availability gives it."))


class BookedInstrumentIn(StrictSchema):
    """What the owner says of the instrument. It need not be known to the shop."""

    kind = Choice(Kind, load_default=None, allow_none=True)
    maker = Text(max=200, load_default=None, allow_none=True)
    model = Text(max=200, load_default=None, allow_none=True)
    serial = Text(max=100, load_default=None, allow_none=True)
    description = Text(max=1000, multiline=True, load_default=None, allow_none=True)


class BookedInstrumentOut(StrictSchema):
    """What the owner said of the instrument."""

    kind = Choice(Kind, allow_none=True)
    maker = Text(allow_none=True)
    model = Text(allow_none=True)
    serial = Text(allow_none=True)
    description = Text(max=1000, allow_none=True)


class BookedWantsIn(StrictSchema):
    """What the player wants."""

    restring = Truth(load_default=False, **_about("Whether new strings are wanted."))
    playing_style = Text(max=500, load_default=None, allow_none=True)
    note = Text(max=2000, multiline=True, load_default=None, allow_none=True)


class BookingOwnerIn(StrictSchema):
    """Who brings the instrument. Nobody is matched by name or address: the shop decides who is who."""

    name = Text(max=200, required=True)
    email = OwnerIn._declared_fields["email"]
    phone = OwnerIn._declared_fields["phone"]
    units = Choice(Units, load_default=None, allow_none=True, **_about("The shop's when left out."))
    language = Text(
        max=35,
        pattern=r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*",
        pattern_hint="must be a language tag such as en or de-AT",
        load_default=None,
        allow_none=True,
    )


class ConfirmIn(StrictSchema):
    """Who comes with what."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "owner": {"name": "Robin Example", "email": "robin@shop.example", "phone": "+49 555 0137"},
        "instrument": {"kind": "electric", "maker": "Brackwater", "model": "Kessim", "serial": "K-0117"},
        "complaints": "Buzzes above the seventh fret.",
        "wants": {"restring": True},
    }

    owner = Nested(
        BookingOwnerIn, load_default=None, allow_none=True, **_about("Left out for a recheck alone.")
    )
    instrument = Nested(BookedInstrumentIn, load_default=lambda: BookedInstrumentIn().load({}))
    complaints = Text(
        max=4000, multiline=True, load_default=None, allow_none=True, **_about("In the owner's own words.")
    )
    wants = Nested(BookedWantsIn, load_default=lambda: BookedWantsIn().load({}))
    recheck_of = Text(
        max=60,
        load_default=None,
        allow_none=True,
        **_about(
            "What follows /cards/ in the address of an owner's page: the booking is the recheck of that job, "
            "with its instrument and its owner. The page's own button leads to the shop's booking page and "
            "hands it over behind `#card=`. The new booking's page ends, and is revoked, with that address. "
            "A website's key may use the pages of its own bookings and of jobs that no website booked."
        ),
    )


class BookingMoveIn(StrictSchema):
    """Another slot for a booking."""

    at = Instant(required=True, **_about("A slot as the availability gives it."))


class CancelIn(StrictSchema):
    """Why a booking is cancelled."""

    reason = Text(max=500, load_default=None, allow_none=True, **_about("The shop reads it."))


class NewInstrumentIn(StrictSchema):
    """An instrument that the shop has not seen before."""

    model_id = Id(required=True)
    serial = Text(max=100, load_default=None, allow_none=True)
    nickname = Text(max=200, load_default=None, allow_none=True)
    made_in = Whole(1500, 2200, load_default=None, allow_none=True)
    handedness = Choice(Handedness, load_default=Handedness.RIGHT)
    string_set_id = Id(load_default=None, allow_none=True)
    tuning_id = Id(load_default=None, allow_none=True)
    strings_fitted_on = Day(load_default=None, allow_none=True)
    named_consents = Truth(load_default=False)
    notes = Text(max=4000, multiline=True, load_default=None, allow_none=True)


class CheckInIn(StrictSchema):
    """What is brought to the counter."""

    instrument_id = Id(load_default=None, allow_none=True)
    new_instrument = Nested(NewInstrumentIn, load_default=None, allow_none=True)
    owner_id = Id(
        load_default=None,
        allow_none=True,
        **_about("Somebody whom the shop knows already: takes the place of the owner that the booking made."),
    )
    condition = Text(max=4000, multiline=True, load_default=None, allow_none=True)
    room = Nested(RoomIn, load_default=None, allow_none=True)
    consents = ListOf(Nested(ConsentIn), max=20, load_default=list)


class BookedJobOut(StrictSchema):
    """The state of a booking's job, without what the shop keeps to itself."""

    id = Id()
    number = Whole()
    state = Choice(
        JobState,
        **_about(
            "Booked until it is brought; received and queued: it waits for a bench; on-bench, settling and "
            "final-check: it is worked on; waiting: see waiting_for; ready: it can be fetched; collected."
        ),
    )
    waiting_for = Choice(
        WaitingFor, allow_none=True, **_about("The owner's yes (consent), parts, or the owner's answer.")
    )
    promised_on = Day(allow_none=True)


class BookingOut(StrictSchema):
    """A drop-off slot that is held or booked, and what became of it."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    state = Choice(
        BookingState,
        **_about(
            "held until hold_until, then expired; confirmed; checked-in once the instrument is brought; "
            "cancelled; no-show when nobody came."
        ),
    )
    service_id = Id()
    service = Text(**_about("Its name."))
    at = Instant()
    wall = Text(**_about("The slot as the shop's clocks show it."))
    zone = Text(**_about("Of the shop's clocks, in the IANA database."))
    day = Day(**_about("Of the drop-off."))
    hold_until = Instant(allow_none=True, **_about("While it is held; null otherwise."))
    price = Number(allow_none=True, **_about("As it was when the slot was taken."))
    price_from = Truth()
    currency = Text()
    promised_on = Day(**_about("When it should be ready."))
    cancel_reason = Text(max=500, allow_none=True)
    instrument = Nested(BookedInstrumentOut)
    job = Nested(BookedJobOut, allow_none=True, **_about("From the confirmation on."))
    owner_id = Id(allow_none=True, **_about("For the shop's own keys alone."))
    instruments = ListOf(
        Id(),
        **_about("Known instruments with the serial number that was told; for the shop's own keys alone."),
    )


class ConfirmedOut(BookingOut):
    """A booking that was just confirmed, with the address of its owner's page."""

    card_path = Text(
        allow_none=True,
        metadata={
            "secret": True,
            "description": "Where the owner sees the instrument's way through the shop: /cards/…. A "
            "repetition under the same Idempotency-Key shows it again, while it opens the page; null once "
            "the service's secret was changed: then `POST /v1/bookings/{id}/card-links` makes another.",
        },
    )


class BookingQuery(PageQuery):
    """Which bookings."""

    state = Choice(BookingState)
    first = Day(**_about("Of the drop-off."))
    last = Day()
    service_id = Id()
    serial = Text(
        max=100, **_about("The serial number that was told, exactly; or that of the known instrument.")
    )
    number = Whole(1, 2**31 - 1, **_about("The number of its job."))
