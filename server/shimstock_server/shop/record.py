"""The shop's own settings, one row, and its dated exceptions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from shimstock_server.database.history import emit
from shimstock_server.database.tables.booking import Booking
from shimstock_server.database.tables.shop import Closure, OpeningHours, Shop
from shimstock_server.database.words import BookingState
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept

from .hours import opening, settings
from .prices import learned_minutes, merge_prices, minutes_told, prices_of
from .problems import DayTaken

FIELDS = (
    "name",
    "place",
    "contact",
    "zone",
    "units",
    "currency",
    "language",
    "settle_first_minutes",
    "claims_per_technician",
    "recheck_probability",
    "string_hours",
    "string_days",
    "shop_rate",
    "humidity_low",
    "humidity_high",
    "everything_at_the_end",
)
"""What the shop says of itself, beside its opening hours."""

Hours = tuple[int, str, str]
"""Weekday (Monday is 1), from, to: local wall times."""


def find(session: Session) -> Shop | None:
    """Return the shop's settings, or None before they are made."""
    return session.scalars(select(Shop)).one_or_none()


def set_up(session: Session, body: Mapping[str, Any]) -> Shop:
    """Make the shop, or replace all its settings."""
    shop = find(session)
    _check(body, body)
    if shop is None:
        shop = Shop()
        session.add(shop)
    return _store(session, shop, body, whole=True)


def change(session: Session, body: Mapping[str, Any]) -> Shop:
    """Change some of the shop's settings."""
    shop = settings(session)
    present = {"humidity_low": shop.humidity_low, "humidity_high": shop.humidity_high}
    _check(body, {**present, **body})
    return _store(session, shop, body, whole=False)


def _check(body: Mapping[str, Any], whole: Mapping[str, Any]) -> None:
    values, _ = kept({name: whole[name] for name in ("humidity_low", "humidity_high")})
    errors = {}
    if values["humidity_low"] >= values["humidity_high"]:
        errors["/humidity_low"] = f"must lie below the upper limit, {values['humidity_high']:g} percent"
    errors |= hours_errors(_hours(body), "/opening_hours", ("opens", "closes"))
    if errors:
        raise InvalidFields.of(errors)


def _hours(body: Mapping[str, Any]) -> list[Hours]:
    return [(row["weekday"], row["opens"], row["closes"]) for row in body.get("opening_hours", [])]


def _store(session: Session, shop: Shop, body: Mapping[str, Any], *, whole: bool) -> Shop:
    values = {field: body[field] for field in FIELDS if field in body}
    zone = shop.zone
    for field, value in values.items():
        setattr(shop, field, kept(value)[0] if field.startswith("humidity") else value)
    if "prices" in body:
        shop.prices = merge_prices({} if whole else shop.prices, body["prices"])
    session.flush()
    if "opening_hours" in body:
        _store_hours(session, shop, _hours(body))
    emit(session, "shop.changed", shop)
    if zone not in (None, shop.zone):
        emit(session, "shop.zone-changed", shop)
    return shop


def _store_hours(session: Session, shop: Shop, hours: Sequence[Hours]) -> None:
    """Keep the rows that stay as they are; a change of the hours is a new version of the shop."""
    present = {(row.weekday, row.opens, row.closes): row for row in shop.opening_hours}
    if set(present) == set(hours):
        return
    for key, row in present.items():
        if key not in hours:
            shop.opening_hours.remove(row)
    session.flush()
    for weekday, opens, closes in hours:
        if (weekday, opens, closes) not in present:
            shop.opening_hours.append(OpeningHours(weekday=weekday, opens=opens, closes=closes))
    flag_modified(shop, "name")
    session.flush()
    session.refresh(shop)


def hours_errors(hours: Sequence[Hours], at: str, names: tuple[str, str]) -> dict[str, str]:
    """Return what cannot stand in a list of weekly hours: pointer to message.

    Parameters
    ----------
    hours : sequence of (weekday, from, to)
        Wall times.
    at : str
        Where the list stands.
    names : pair of str
        What the two times are called.

    Examples
    --------
    >>> hours_errors([(1, "09:00", "12:00"), (1, "11:00", "17:00")], "/shifts", ("starts", "ends"))
    {'/shifts/1/starts': 'overlaps with other hours of that weekday'}
    """
    errors: dict[str, str] = {}
    for n, (weekday, start, end) in enumerate(hours):
        if start >= end:
            errors[f"{at}/{n}/{names[1]}"] = f"must be later than `{names[0]}`, {start}, on the same day"
        elif _overlaps(hours[:n], weekday, start, end):
            errors[f"{at}/{n}/{names[0]}"] = "overlaps with other hours of that weekday"
    return errors


def _overlaps(others: Iterable[Hours], weekday: int, start: str, end: str) -> bool:
    return any(day == weekday and start < closes and opens < end for day, opens, closes in others)


def add_closure(session: Session, body: Mapping[str, Any]) -> Closure:
    """Add a dated exception: closed all day, or open at other hours."""
    if (body["opens"] is None) != (body["closes"] is None):
        missing = "opens" if body["opens"] is None else "closes"
        raise InvalidFields.at(f"/{missing}", "give both hours of that day, or neither when it is closed")
    if body["opens"] is not None and body["opens"] >= body["closes"]:
        raise InvalidFields.at("/closes", f"must be later than `opens`, {body['opens']}, on the same day")
    if session.scalar(select(Closure.id).where(Closure.day == body["day"])) is not None:
        raise DayTaken(errors=[{"pointer": "/day", "message": "has an exception already"}])
    row = Closure(**body)
    session.add(row)
    session.flush()
    return row


def closure_told(session: Session, row: Closure) -> dict[str, Any]:
    """Return a new exception as it is answered, with the bookings that it shuts out."""
    names = ("id", "version", "created_at", "updated_at", "day", "reason", "opens", "closes")
    return {**{name: getattr(row, name) for name in names}, "bookings": _shut_out(session, row.day)}


def _shut_out(session: Session, day: date) -> list[UUID]:
    """The bookings of a day that nobody would be there to take in."""
    if find(session) is None:
        return []
    spans = opening(session, day)
    booked = session.execute(
        select(Booking.id, Booking.at)
        .where(Booking.day == day, Booking.state.in_((BookingState.HELD, BookingState.CONFIRMED)))
        .order_by(Booking.at, Booking.id)
    )
    return [each.id for each in booked if not any(opens <= each.at < closes for opens, closes in spans)]


def told(session: Session, shop: Shop) -> dict[str, Any]:
    """Return the shop as it is answered."""
    return {
        "id": shop.id,
        "version": shop.version,
        "created_at": shop.created_at,
        "updated_at": shop.updated_at,
        **{field: getattr(shop, field) for field in FIELDS},
        "prices": asdict(prices_of(shop.prices, learned_minutes(session))),
        "minutes": minutes_told(session, shop.prices),
        "opening_hours": shop.opening_hours,
    }
