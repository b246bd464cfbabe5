"""Absences over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from shimstock_server.database.tables.booking import Absence
from shimstock_server.shop import ShopNotSetUp, WallTime, local_day
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.fields import Day, Id, Instant, ListOf, StrictSchema, Text, Whole
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.visibility import exists, visibility

from . import absences
from .cover import ids_of
from .problems import AbsenceOverlaps

absence_routes = Blueprint("absences", "When a technician is away: such days have less room for bookings.")

READERS = ("bench", "manager")

visibility("absence_id", exists(Absence.id))


class AbsenceIn(StrictSchema):
    """Days on which a technician is away, or hours of one day. Why is nobody's business."""

    technician_id = Id(required=True)
    first = Day(required=True, metadata={"description": "The first day away, in the shop's zone."})
    last = Day(
        required=True, metadata={"description": "The last day away; the first one when it is one day."}
    )
    starts = WallTime(
        load_default=None,
        allow_none=True,
        metadata={"description": "With `ends`, for an absence of one day: the hours. Else whole days."},
    )
    ends = WallTime(ends=True, load_default=None, allow_none=True)


class AbsenceOut(StrictSchema):
    """Days on which a technician is away, or hours of one day."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    technician_id = Id()
    first = Day()
    last = Day()
    starts = Text(allow_none=True)
    ends = Text(allow_none=True)


class NewAbsenceOut(AbsenceOut):
    """An absence that was just added, and the bookings that it leaves without bench minutes."""

    uncovered = ListOf(
        Id(),
        metadata={
            "description": "Bookings of these days for which no other technician has bench minutes left: "
            "move them, or make room. What others could take over they have taken over."
        },
    )


class AbsenceQuery(PageQuery):
    """Whose absences, and which days they touch."""

    technician_id = Id()
    first = Day()
    last = Day()


@absence_routes.operation("GET", "/absences", scopes=READERS, query=AbsenceQuery, answer=page_of(AbsenceOut))
def list_absences(query: dict[str, Any]) -> Answer:
    """List the absences by their first day."""
    return page(absences.selected(query), query, sort=(Absence.first, Absence.id))


@absence_routes.operation(
    "POST", "/absences", scopes=("manager",), body=AbsenceIn, answer=NewAbsenceOut, status=201, writes=True,
    creates="key", conflicts=(AbsenceOverlaps, ShopNotSetUp),
)  # fmt: skip
def add_absence(body: dict[str, Any]) -> Answer:
    """Add an absence. What is booked stays booked: colleagues with room take the bench minutes over."""
    today = local_day(current.session, current.now)
    row, left = absences.add_absence(current.session, body, today=today)
    return Answer(absences.told(row, ids_of(left)), location=f"/v1/absences/{row.id}")


@absence_routes.operation("GET", "/absences/<uuid:absence_id>", scopes=READERS, answer=AbsenceOut)
def show_absence(absence_id: UUID) -> Absence:
    """Show an absence."""
    return current.session.get_one(Absence, absence_id)


@absence_routes.operation(
    "DELETE", "/absences/<uuid:absence_id>", scopes=("manager",), status=204, writes=True, edits=True
)
def delete_absence(absence_id: UUID) -> None:
    """Delete an absence: the technician works then after all."""
    row = current.session.get_one(Absence, absence_id)
    must_match(row)
    current.session.delete(row)
