"""Services, free slots and bookings over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server import cards
from shimstock_server.database.tables.booking import Booking, Service
from shimstock_server.jobs import MoveNotAllowed, load_job
from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.paging import page, page_of
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.visibility import visibility

from . import arrival, availability, holds, schemas, services, showing
from .problems import AddressEnded, BookingSettled, HoldEnded, NoPlace, NotYetMissed, ServiceNameInUse

service_routes = Blueprint("services", "What can be booked, and when there is room.")
booking_routes = Blueprint(
    "bookings", "Drop-off slots: held, confirmed, moved, cancelled, missed, and checked in."
)

ANY = ("bench", "booking", "manager")
COUNTER = ("bench", "manager")

visibility("service_id", services.is_visible)
visibility("booking_id", showing.is_visible)


# ------------------------------------------------------------ services


@service_routes.operation(
    "GET", "/services", scopes=ANY, query=schemas.ServiceQuery, answer=page_of(schemas.ServiceOut),
    conflicts=(ShopNotSetUp,),
)  # fmt: skip
def list_services(query: dict[str, Any]) -> Answer:
    """List the services, in the order in which they were added; a website sees those that can be booked."""
    statement = select(Service)
    if current.actor.scope == "booking":
        statement = statement.where(Service.active)
    if "active" in query:
        statement = statement.where(Service.active == query["active"])
    return page(statement, query, sort=(Service.created_at, Service.id), show=_service)


@service_routes.operation(
    "POST", "/services", scopes=("manager",), body=schemas.ServiceIn, answer=schemas.ServiceOut, status=201,
    writes=True, creates="key", conflicts=(ServiceNameInUse, ShopNotSetUp),
)  # fmt: skip
def add_service(body: dict[str, Any]) -> Answer:
    """Add a service."""
    row = services.add_service(current.session, body)
    return Answer(_service(row), location=f"/v1/services/{row.id}")


@service_routes.operation(
    "GET", "/services/<uuid:service_id>", scopes=ANY, answer=schemas.ServiceOut, conflicts=(ShopNotSetUp,)
)
def show_service(service_id: UUID) -> dict[str, Any]:
    """Show a service."""
    return _service(current.session.get_one(Service, service_id))


@service_routes.operation(
    "PATCH", "/services/<uuid:service_id>", scopes=("manager",), body=schemas.ServiceChange,
    answer=schemas.ServiceOut, writes=True, edits=True, conflicts=(ServiceNameInUse, ShopNotSetUp),
)  # fmt: skip
def change_service(service_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a service. What is booked stays as it was booked."""
    row = current.session.get_one(Service, service_id)
    must_match(row)
    return _service(services.change_service(current.session, row, body))


def _service(row: Service) -> dict[str, Any]:
    return services.told(current.session, row)


@service_routes.operation(
    "GET", "/availability", scopes=ANY, query=schemas.AvailabilityQuery, answer=schemas.AvailabilityOut,
    conflicts=(ShopNotSetUp,),
)  # fmt: skip
def show_availability(query: dict[str, Any]) -> dict[str, Any]:
    """Show the free drop-off slots of a service, day by day.

    They follow from the opening hours with their exceptions, the shifts and skills of the technicians, and
    what is booked. It is a hint: the booking decides.
    """
    if not services.is_visible(current.session, current.actor, query["service_id"]):
        raise InvalidFields.at("/query/service_id", "is no service of this shop")
    service = current.session.get_one(Service, query["service_id"])
    return availability.free_slots(current.session, service, query, now=current.now)


# ------------------------------------------------------------ bookings


def _answer(booking: Booking, **more: Any) -> Answer:
    current.session.flush()
    told = showing.told(current.session, booking, actor=current.actor, now=current.now)
    return Answer({**told, **more}, version=booking.version)


def _for_change(booking_id: UUID) -> Booking:
    booking = holds.load(current.session, booking_id, for_change=True)
    must_match(booking)
    return booking


@booking_routes.operation(
    "GET", "/bookings", scopes=ANY, query=schemas.BookingQuery, answer=page_of(schemas.BookingOut)
)
def list_bookings(query: dict[str, Any]) -> Answer:
    """List the bookings, in the order in which they were made; a website sees its own."""
    statement = showing.selected(current.session, query, actor=current.actor, now=current.now)
    return page(
        statement,
        query,
        sort=(Booking.created_at, Booking.id),
        show=lambda row: showing.told(current.session, row, actor=current.actor, now=current.now),
    )


@booking_routes.operation(
    "POST", "/bookings", scopes=ANY, body=schemas.HoldIn, answer=schemas.BookingOut, status=201, writes=True,
    creates="key", conflicts=(NoPlace, ShopNotSetUp),
)  # fmt: skip
def hold_slot(body: dict[str, Any]) -> Answer:
    """Take a drop-off slot, and hold it for ten minutes; confirming makes it firm.

    Whoever comes first gets it: of two requests for the last place one is answered 409, with the next free
    slots. Nothing of a person is needed yet.
    """
    booking = holds.hold(current.session, body, actor=current.actor, now=current.now)
    answer = _answer(booking)
    answer.location = f"/v1/bookings/{booking.id}"
    return answer


@booking_routes.operation("GET", "/bookings/<uuid:booking_id>", scopes=ANY, answer=schemas.BookingOut)
def show_booking(booking_id: UUID) -> Answer:
    """Show a booking, with the state of its job."""
    return _answer(holds.load(current.session, booking_id))


def _confirmed_again(kept: dict[str, Any]) -> dict[str, Any]:
    """Return the kept answer of a confirmation with the owner's page, where it can be shown again."""
    path = cards.first_path_again(current.session, UUID(kept["job"]["id"]), now=current.now)
    return {**kept, "card_path": path}


@booking_routes.operation(
    "POST", "/bookings/<uuid:booking_id>/confirm", scopes=ANY, body=schemas.ConfirmIn,
    answer=schemas.ConfirmedOut, writes=True, creates="key",
    conflicts=(HoldEnded, BookingSettled, ShopNotSetUp), shows_again=_confirmed_again,
)  # fmt: skip
def confirm_booking(booking_id: UUID, body: dict[str, Any]) -> Answer:
    """Make a hold firm: say who comes with what. The job is opened, in state booked.

    The answer holds the address of the owner's page. When it was lost, send the request again under the same
    Idempotency-Key: the answer holds the same address.
    """
    booking = holds.load(current.session, booking_id, for_change=True)
    path = holds.confirm(current.session, booking, body, actor=current.actor, now=current.now)
    return _answer(booking, card_path=path)


@booking_routes.operation(
    "POST", "/bookings/<uuid:booking_id>/move", scopes=ANY, body=schemas.BookingMoveIn,
    answer=schemas.BookingOut, writes=True, creates="key", edits=True,
    conflicts=(NoPlace, BookingSettled, ShopNotSetUp),
)  # fmt: skip
def move_booking(booking_id: UUID, body: dict[str, Any]) -> Answer:
    """Give a booking another slot. When that one is taken the booking stays where it was."""
    booking = _for_change(booking_id)
    return _answer(holds.move(current.session, booking, body["at"], now=current.now))


@booking_routes.operation(
    "POST", "/bookings/<uuid:booking_id>/cancel", scopes=ANY, body=schemas.CancelIn,
    answer=schemas.BookingOut, writes=True, creates="key", edits=True,
    conflicts=(BookingSettled, MoveNotAllowed),
)  # fmt: skip
def cancel_booking(booking_id: UUID, body: dict[str, Any]) -> Answer:
    """Take a booking back, held or confirmed; its slot is free at once."""
    booking = _for_change(booking_id)
    holds.cancel(current.session, booking, body["reason"], actor=current.actor, now=current.now)
    return _answer(booking)


@booking_routes.operation(
    "POST", "/bookings/<uuid:booking_id>/no-show", scopes=COUNTER, answer=schemas.BookingOut, writes=True,
    creates="key", edits=True, conflicts=(BookingSettled, NotYetMissed, MoveNotAllowed),
)  # fmt: skip
def miss_booking(booking_id: UUID) -> Answer:
    """Note that nobody came; the job is cancelled."""
    booking = _for_change(booking_id)
    return _answer(holds.miss(current.session, booking, actor=current.actor, now=current.now))


@booking_routes.operation(
    "POST", "/bookings/<uuid:booking_id>/check-in", scopes=COUNTER, body=schemas.CheckInIn,
    answer=schemas.BookingOut, writes=True, creates="key", edits=True,
    conflicts=(BookingSettled, MoveNotAllowed),
)  # fmt: skip
def check_in_booking(booking_id: UUID, body: dict[str, Any]) -> Answer:
    """Receive the instrument of a booking: known by its serial number, named, or new."""
    booking = _for_change(booking_id)
    return _answer(arrival.check_in(current.session, booking, body, actor=current.actor, now=current.now))


@booking_routes.operation(
    "POST", "/bookings/<uuid:booking_id>/card-links", scopes=ANY, body=cards.CardLinkIn,
    answer=cards.NewCardLinkOut, status=201, writes=True, creates="key",
    conflicts=(BookingSettled, AddressEnded), shows_again=cards.show_link_again,
)  # fmt: skip
def add_booking_card_link(booking_id: UUID, body: dict[str, Any]) -> Answer:
    """Make another address of the owner's page of a booking: the first one came with its confirmation.

    That of a recheck ends, and is revoked, with the address with which the recheck was booked.
    """
    booking = holds.load(current.session, booking_id)
    if booking.job_id is None:
        raise BookingSettled("The owner's page comes with the confirmation of the booking.")
    job = load_job(current.session, booking.job_id)
    former = cards.derived_from(current.session, job, actor=current.actor)
    if former is not None and not cards.is_active(former, current.now):
        raise AddressEnded
    row, path = cards.make_link(
        current.session, job, actor=current.actor, now=current.now, days=body["days"], derived_from=former
    )
    told = cards.link_told(row, now=current.now, path=path)
    return Answer(told, location=f"/v1/card-links/{row.id}")
