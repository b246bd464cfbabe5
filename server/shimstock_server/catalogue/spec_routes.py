"""The addresses of setup specs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from flask import request
from sqlalchemy import select

from shimstock_server.database.tables.catalogue import SetupSpec
from shimstock_server.database.words import Kind
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match, require_if_match
from shimstock_server.web.paging import page, page_of
from shimstock_server.web.problems import NotFound, PreconditionFailed, PreconditionRequired
from shimstock_server.web.visibility import exists, visibility

from . import specs
from .problems import NoInstrumentYet, NoSetupSpec
from .routes import READERS, WRITERS
from .spec_schemas import ResolvedSpecOut, SetupSpecIn, SetupSpecOut, SpecQuery

setup_specs = Blueprint(
    "setup specs", "Targets and tolerances: shop default, model, instrument, job; the most specific counts."
)

visibility("spec_id", exists(SetupSpec.id))

_FIRST_NEEDS_NO_MATCH = (PreconditionFailed, PreconditionRequired)


@dataclass(frozen=True)
class _Version:
    """What If-Match is held against."""

    version: int | str


def _store(body: dict[str, Any], **where: Any) -> Answer:
    """Store a new version where none stands yet, or over the one that the client has read."""
    present = specs.current_spec(current.session, **where)
    _match(present is not None, _Version(0 if present is None else present.number))
    row = specs.store_spec(current.session, body, **where)
    return Answer(specs.told(row), location=f"/v1/setup-specs/{row.id}")


def _match(stored: bool, version: Any) -> None:
    """Hold If-Match against what is there; the first at a place needs none, but one that is sent counts."""
    if stored or "If-Match" in request.headers:
        require_if_match()
        must_match(version)


def _present(**where: Any) -> dict[str, Any]:
    row = specs.current_spec(current.session, **where)
    if row is None:
        raise NoSetupSpec()
    return specs.told(row)


def _applied(applies: specs.Applies) -> Answer:
    return Answer(specs.applies_told(applies), digest=applies.version)


@setup_specs.operation("GET", "/setup-specs", scopes=READERS, query=SpecQuery, answer=page_of(SetupSpecOut))
def list_setup_specs(query: dict[str, Any]) -> Answer:
    """List the current specs of every place, of one scope or kind of instrument when asked."""
    statement = select(SetupSpec).where(SetupSpec.current)
    if "scope" in query:
        statement = statement.where(SetupSpec.scope == query["scope"])
    if "kind" in query:
        statement = statement.where(SetupSpec.kind == query["kind"])
    answer = page(statement, query, sort=(SetupSpec.created_at, SetupSpec.id))
    answer.data.items[:] = [specs.told(row) for row in answer.data.items]
    return answer


@setup_specs.operation("GET", "/setup-specs/<uuid:spec_id>", scopes=READERS, answer=SetupSpecOut)
def show_setup_spec(spec_id: UUID) -> dict[str, Any]:
    """Show any version of a setup spec, past ones too."""
    return specs.told(current.session.get_one(SetupSpec, spec_id))


@setup_specs.operation(
    "GET", "/setup-specs/shop/<kind>", scopes=READERS, answer=SetupSpecOut, conflicts=(NoSetupSpec,)
)
def show_shop_setup_spec(kind: str) -> dict[str, Any]:
    """Show the shop's default for a kind of instrument."""
    return _present(kind=_kind(kind))


@setup_specs.operation(
    "PUT",
    "/setup-specs/shop/<kind>",
    scopes=WRITERS,
    body=SetupSpecIn,
    answer=SetupSpecOut,
    writes=True,
    conflicts=_FIRST_NEEDS_NO_MATCH,
)
def put_shop_setup_spec(kind: str, body: dict[str, Any]) -> Answer:
    """Store a new version of the shop's default for a kind of instrument.

    The first needs no If-Match, every later one does.
    """
    return _store(body, kind=_kind(kind))


def _kind(word: str) -> Kind:
    try:
        return Kind(word)
    except ValueError:
        raise NotFound(f"The kinds of instrument are {', '.join(Kind)}.") from None


@setup_specs.operation(
    "GET",
    "/instrument-models/<uuid:model_id>/setup-spec",
    scopes=READERS,
    answer=SetupSpecOut,
    conflicts=(NoSetupSpec,),
)
def show_model_setup_spec(model_id: UUID) -> dict[str, Any]:
    """Show what a model's own spec says, where it differs from the shop's default."""
    return _present(model_id=model_id)


@setup_specs.operation(
    "PUT",
    "/instrument-models/<uuid:model_id>/setup-spec",
    scopes=WRITERS,
    body=SetupSpecIn,
    answer=SetupSpecOut,
    writes=True,
    conflicts=_FIRST_NEEDS_NO_MATCH,
)
def put_model_setup_spec(model_id: UUID, body: dict[str, Any]) -> Answer:
    """Store a new version of a model's own spec.

    The first needs no If-Match, every later one does.
    """
    return _store(body, model_id=model_id)


@setup_specs.operation(
    "GET", "/instruments/<uuid:instrument_id>/setup-spec", scopes=READERS, answer=ResolvedSpecOut
)
def show_instrument_setup_spec(instrument_id: UUID) -> Answer:
    """Show the spec that applies to an instrument, with where each item comes from."""
    return _applied(specs.applies_to_instrument(current.session, instrument_id))


@setup_specs.operation(
    "GET", "/instruments/<uuid:instrument_id>/setup-spec/resolved", scopes=READERS, answer=ResolvedSpecOut
)
def show_resolved_instrument_setup_spec(instrument_id: UUID) -> Answer:
    """Show the spec that applies to an instrument: the same as one address up."""
    return show_instrument_setup_spec(instrument_id)


@setup_specs.operation(
    "PUT",
    "/instruments/<uuid:instrument_id>/setup-spec",
    scopes=WRITERS,
    body=SetupSpecIn,
    answer=ResolvedSpecOut,
    writes=True,
    conflicts=_FIRST_NEEDS_NO_MATCH,
)
def put_instrument_setup_spec(instrument_id: UUID, body: dict[str, Any]) -> Answer:
    """Store what this one instrument is to have; the answer is the spec that then applies to it.

    If-Match names the spec that applied, as it was read here; the first needs none.
    """
    before = specs.applies_to_instrument(current.session, instrument_id)
    _match(before.own is not None, before)
    specs.store_spec(current.session, body, instrument_id=instrument_id)
    return _applied(specs.applies_to_instrument(current.session, instrument_id))


@setup_specs.operation(
    "GET",
    "/jobs/<uuid:job_id>/setup-spec",
    scopes=READERS,
    answer=ResolvedSpecOut,
    conflicts=(NoInstrumentYet,),
)
def show_job_setup_spec(job_id: UUID) -> Answer:
    """Show the spec that applies to a job: the versions that it began with, and what the player asked for."""
    return _applied(specs.applies_to_job(current.session, job_id))


@setup_specs.operation(
    "GET",
    "/jobs/<uuid:job_id>/setup-spec/resolved",
    scopes=READERS,
    answer=ResolvedSpecOut,
    conflicts=(NoInstrumentYet,),
)
def show_resolved_job_setup_spec(job_id: UUID) -> Answer:
    """Show the spec that applies to a job: the same as one address up."""
    return show_job_setup_spec(job_id)


@setup_specs.operation(
    "PUT",
    "/jobs/<uuid:job_id>/setup-spec",
    scopes=READERS,
    body=SetupSpecIn,
    answer=ResolvedSpecOut,
    writes=True,
    conflicts=(NoInstrumentYet, *_FIRST_NEEDS_NO_MATCH),
)
def put_job_setup_spec(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Store what the player asked for on this job; the answer is the spec that then applies to it.

    If-Match names the spec that applied, as it was read here; the first needs none.
    """
    before = specs.applies_to_job(current.session, job_id)
    _match(before.own is not None, before)
    specs.store_spec(current.session, body, job_id=job_id)
    return _applied(specs.applies_to_job(current.session, job_id))
