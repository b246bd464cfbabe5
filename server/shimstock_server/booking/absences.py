"""Technicians' holidays, sick days and hours away: they take room from the days that can be booked."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Absence, Booking
from shimstock_server.database.tables.shop import Technician
from shimstock_server.web.problems import InvalidFields

from .cover import cover
from .problems import AbsenceOverlaps

LONGEST = 366
"""Days of one absence: a longer one is a technician who is not active."""


def add_absence(session: Session, body: Mapping[str, Any], *, today: date) -> tuple[Absence, list[Booking]]:
    """Add an absence; return it with the bookings of these days for which nobody has bench minutes left.

    Raises
    ------
    InvalidFields
        When there is no such technician, or the days or hours cannot be.
    AbsenceOverlaps
        When the technician is away then already.
    """
    locked = select(Technician).where(Technician.id == body["technician_id"]).with_for_update()
    technician = session.scalars(locked).one_or_none()
    errors = _errors(body, today)
    if technician is None:
        errors["/technician_id"] = "is no technician of this shop"
    if errors or technician is None:
        raise InvalidFields.of(errors)
    _check_overlap(session, body)
    row = Absence(**body)
    session.add(row)
    session.flush()
    return row, cover(session, technician, max(row.first, today), row.last)


def _errors(body: Mapping[str, Any], today: date) -> dict[str, str]:
    first, last, starts, ends = (body[name] for name in ("first", "last", "starts", "ends"))
    errors = {}
    if last < first:
        errors["/last"] = f"must not lie before the first day, {first}"
    elif last < today:
        errors["/last"] = f"lies in the past; today is {today}"
    elif last - first >= timedelta(days=LONGEST):
        errors["/last"] = f"must lie at most {LONGEST - 1} days after the first; make the technician inactive"
    if (starts is None) != (ends is None):
        missing = "starts" if starts is None else "ends"
        errors[f"/{missing}"] = "give both hours of that day, or neither for whole days"
    elif starts is not None and first != last:
        errors["/starts"] = "hours belong to an absence of one day; leave them out for several"
    elif starts is not None and starts >= ends:
        errors["/ends"] = f"must be later than `starts`, {starts}, on the same day"
    return errors


def _check_overlap(session: Session, body: Mapping[str, Any]) -> None:
    there = session.scalars(
        select(Absence)
        .where(Absence.technician_id == body["technician_id"])
        .where(Absence.first <= body["last"], Absence.last >= body["first"])
        .order_by(Absence.first, Absence.starts)
    )
    for each in there:
        if not _apart((each.starts, each.ends), (body["starts"], body["ends"])):
            raise AbsenceOverlaps(
                f"This technician is away from {each.first} to {each.last} already; delete that first.",
                errors=[{"pointer": "/first", "message": "overlaps with another absence"}],
                absence=str(each.id),
            )


def _apart(one: tuple[str | None, str | None], other: tuple[str | None, str | None]) -> bool:
    """Whether two spans of hours of the same day do not touch; whole days touch everything."""
    if one[0] is None or one[1] is None or other[0] is None or other[1] is None:
        return False
    return one[1] <= other[0] or other[1] <= one[0]


def selected(query: Mapping[str, Any]) -> Select[Any]:
    """Select the absences that a key asks for."""
    statement = select(Absence)
    if "technician_id" in query:
        statement = statement.where(Absence.technician_id == query["technician_id"])
    if "first" in query:
        statement = statement.where(Absence.last >= query["first"])
    if "last" in query:
        statement = statement.where(Absence.first <= query["last"])
    return statement


def told(row: Absence, uncovered: list[UUID] | None = None) -> dict[str, Any]:
    """Return an absence as it is answered."""
    names = ("id", "version", "created_at", "updated_at", "technician_id", "first", "last", "starts", "ends")
    return {**{name: getattr(row, name) for name in names}, "uncovered": uncovered}
