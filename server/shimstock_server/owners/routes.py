"""The addresses of owners and instruments."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.paging import page, page_of
from shimstock_server.web.visibility import exists, visibility

from . import instruments, people
from .problems import JobOpen, OwnerErased, SerialTaken
from .schemas import (
    ErasureIn,
    InstrumentChange,
    InstrumentIn,
    InstrumentOut,
    InstrumentQuery,
    OwnerChange,
    OwnerIn,
    OwnerOut,
    OwnerQuery,
)

owners = Blueprint("owners", "The people whose instruments come in.")
instrument_routes = Blueprint("instruments", "Instruments: each of a model, with what is its own.")

SCOPES = ("bench", "manager")

visibility("owner_id", exists(Owner.id))
visibility("instrument_id", exists(Instrument.id))


@owners.operation("GET", "/owners", scopes=SCOPES, query=OwnerQuery, answer=page_of(OwnerOut))
def list_owners(query: dict[str, Any]) -> Answer:
    """List the owners in the order in which they first came, or those whose name begins so."""
    statement = people.named_like(query["name"]) if "name" in query else select(Owner)
    return page(statement, query, sort=(Owner.created_at, Owner.id))


@owners.operation(
    "POST", "/owners", scopes=SCOPES, body=OwnerIn, answer=OwnerOut, status=201, writes=True, creates="key"
)
def add_owner(body: dict[str, Any]) -> Answer:
    """Add an owner."""
    row = people.add_owner(current.session, body)
    return Answer(row, location=f"/v1/owners/{row.id}")


@owners.operation("GET", "/owners/<uuid:owner_id>", scopes=SCOPES, answer=OwnerOut)
def show_owner(owner_id: UUID) -> Owner:
    """Show an owner."""
    return current.session.get_one(Owner, owner_id)


@owners.operation(
    "PATCH",
    "/owners/<uuid:owner_id>",
    scopes=SCOPES,
    body=OwnerChange,
    answer=OwnerOut,
    writes=True,
    edits=True,
    conflicts=(OwnerErased,),
)
def change_owner(owner_id: UUID, body: dict[str, Any]) -> Owner:
    """Change an owner."""
    row = current.session.get_one(Owner, owner_id)
    must_match(row)
    return people.change_owner(current.session, row, body)


@owners.operation(
    "POST",
    "/owners/<uuid:owner_id>/erasure",
    scopes=("manager",),
    body=ErasureIn,
    answer=OwnerOut,
    writes=True,
    conflicts=(JobOpen,),
)
def erase_owner(owner_id: UUID, body: dict[str, Any]) -> Owner:
    """Erase what is personal of an owner, for good.

    Instruments, jobs and readings stay without the name. Refused while a job is open, unless forced; erasing
    again changes nothing.
    """
    row = current.session.get_one(Owner, owner_id)
    return people.erase(current.session, row, now=current.now, force=body["force"])


@instrument_routes.operation(
    "GET", "/instruments", scopes=SCOPES, query=InstrumentQuery, answer=page_of(InstrumentOut)
)
def list_instruments(query: dict[str, Any]) -> Answer:
    """List the instruments in the order in which they came; of an owner, a model or a serial number."""
    statement = select(Instrument)
    for field in ("owner_id", "model_id", "serial"):
        if field in query:
            statement = statement.where(getattr(Instrument, field) == query[field])
    answer = page(statement, query, sort=(Instrument.created_at, Instrument.id))
    answer.data.items[:] = [instruments.told(row) for row in answer.data.items]
    return answer


@instrument_routes.operation(
    "POST",
    "/instruments",
    scopes=SCOPES,
    body=InstrumentIn,
    answer=InstrumentOut,
    status=201,
    writes=True,
    creates="key",
    conflicts=(SerialTaken,),
)
def add_instrument(body: dict[str, Any]) -> Answer:
    """Add an instrument; what is left out is as on its model."""
    row = instruments.add_instrument(current.session, body)
    return Answer(instruments.told(row), location=f"/v1/instruments/{row.id}")


@instrument_routes.operation("GET", "/instruments/<uuid:instrument_id>", scopes=SCOPES, answer=InstrumentOut)
def show_instrument(instrument_id: UUID) -> dict[str, Any]:
    """Show an instrument."""
    return instruments.told(current.session.get_one(Instrument, instrument_id))


@instrument_routes.operation(
    "PATCH",
    "/instruments/<uuid:instrument_id>",
    scopes=SCOPES,
    body=InstrumentChange,
    answer=InstrumentOut,
    writes=True,
    edits=True,
    conflicts=(SerialTaken,),
)
def change_instrument(instrument_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change an instrument; rod, bridge, home and lists are replaced whole."""
    row = current.session.get_one(Instrument, instrument_id)
    must_match(row)
    return instruments.told(instruments.change_instrument(current.session, row, body))
